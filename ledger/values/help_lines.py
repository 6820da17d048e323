"""Whom to call first. Each number was read at the agency that keeps it.

Poison Help: Health Resources and Services Administration, poisonhelp.hrsa.gov. National Response
Center: Environmental Protection Agency, publication 9285.1-04. A firm posts its own local numbers
as well; the label in hand may name others.
"""

from __future__ import annotations

EMERGENCY = "911"
POISON_HELP = "1-800-222-1222"
SPILLS = "1-800-424-8802"
"""The National Response Center, for spills that reach or may reach water."""
