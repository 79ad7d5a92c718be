"""A working clock, on which lunch takes no time: it runs on while a scout eats, wherever that is.

Lunch is fixed; a drive or a field that lies across it simply ends later by its length.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class WorkingClock:
    """From seconds after midnight to seconds of work, and back.

    Attributes
    ----------
    lunch_s : int
        When lunch starts, seconds after midnight.
    length_s : int
        How long it takes; 0 for none.
    """

    lunch_s: int
    length_s: int

    def working(self, real_s: int) -> int:
        """A moment on the working clock; all of lunch is one moment."""
        if real_s <= self.lunch_s:
            return real_s
        return max(self.lunch_s, real_s - self.length_s)

    def begins(self, working_s: int) -> int:
        """When something that begins at a moment of the working clock begins: after lunch."""
        return working_s + self.length_s if working_s >= self.lunch_s else working_s

    def ends(self, working_s: int) -> int:
        """When something that ends then ends: before lunch."""
        return working_s + self.length_s if working_s > self.lunch_s else working_s
