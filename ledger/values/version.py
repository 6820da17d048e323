"""The version of this program. It is said here alone: packaging reads this line.

To look an installed version up takes longer than a whole line of a day sheet.
"""

from __future__ import annotations

VERSION = "0.1.0"
