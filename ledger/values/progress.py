"""How far long work has come, told to whoever watches."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[int, int], None]
"""Called now and then with how much is done and how much there is; None where nobody watches."""
