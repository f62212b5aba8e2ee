"""How often one may do a thing: token buckets by name, as many names as memory allows."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass
class Limit:
    """At most `burst` at once, and `per_s` a second in the long run, by name.

    most: names that are remembered; the one that was asked for longest ago is forgotten first.
    """

    burst: float
    per_s: float
    most: int = 10_000
    clock: Callable[[], float] = time.monotonic
    _left: OrderedDict[str, tuple[float, float]] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def _now(self, name: str) -> float:
        left, at = self._left.get(name, (self.burst, self.clock()))
        return min(self.burst, left + (self.clock() - at) * self.per_s)

    def wait_s(self, name: str) -> float:
        """Return the seconds until the next one is allowed, 0 where it is now."""
        with self._lock:
            return max(0.0, (1 - self._now(name)) / self.per_s)

    def take(self, name: str) -> float:
        """Count one where it is allowed; return the seconds to wait before it is, else 0."""
        with self._lock:
            left = self._now(name)
            if left < 1:
                return (1 - left) / self.per_s
            self._left[name] = (left - 1, self.clock())
            self._left.move_to_end(name)
            while len(self._left) > self.most:
                self._left.popitem(last=False)
            return 0.0
