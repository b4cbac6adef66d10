"""When a reading was made, by the board's own clock where the line carries one. Times in, times out.

A port delivers in lumps: a network or a busy computer hands over a second's readings at once, all with one time. The
board's clock says how far apart they were; what lies between the two clocks is the shortest delay seen of late.
"""

from collections import deque

KEPT_S = 30.0  # over which the shortest delay is looked for: a board's clock may run 0.5 % wrong
JUMP_S = 2.0  # by which the two clocks may part before the board's is begun anew


class BoardClock:
    """Follows a board's clock; what it keeps does not grow."""

    def __init__(self) -> None:
        self._delays: deque[tuple[float, float]] = deque()
        self._last = float("-inf")

    def program_time(self, arrived_s: float, clock_s: float | None) -> float:
        """When a reading was made, by the clock of the program.

        Args:
            arrived_s: When its line was complete. [s]
            clock_s: The board's own time; None where the line says none. [s]
        """
        if clock_s is None:
            return arrived_s
        delay = arrived_s - clock_s
        if self._delays and abs(delay - self._shortest) > JUMP_S:
            self._delays.clear()
        while self._delays and self._delays[-1][1] >= delay:
            self._delays.pop()
        self._delays.append((arrived_s, delay))
        while self._delays[0][0] < arrived_s - KEPT_S:
            self._delays.popleft()
        made = clock_s + self._shortest
        if self._last - JUMP_S < made <= self._last:  # the shortest delay has just changed
            made = self._last + 1e-6
        self._last = made
        return made

    @property
    def _shortest(self) -> float:
        return self._delays[0][1]
