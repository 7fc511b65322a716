"""Integer flow to one sink, pushed from node after node along shortest paths."""

from __future__ import annotations

from collections import deque

SINK = 0


class Network:
    """Nodes and arcs with room for a whole number each; what was pushed once is led another way where that makes room, never taken back.

    Source:
        L. R. Ford and D. R. Fulkerson 1956, Canadian Journal of Mathematics 8:399-404; shortest paths: J. Edmonds and R. M. Karp 1972,
        Journal of the ACM 19:248-264.
    """

    def __init__(self) -> None:
        self._arcs_of: list[list[int]] = [[]]
        self._to: list[int] = []
        self._room: list[int] = []
        self._dead: set[int] = set()

    def node(self) -> int:
        """Add a node and return it."""
        self._arcs_of.append([])
        return len(self._arcs_of) - 1

    def arc(self, start: int, end: int, room: int) -> int:
        """Add an arc and return it. Where ``start`` may already have been pushed from, its arcs have to be there before."""
        self._to += [end, start]
        self._room += [room, 0]
        arc = len(self._to) - 2
        self._arcs_of[start].append(arc)
        self._arcs_of[end].append(arc + 1)
        return arc

    def flow(self, arc: int) -> int:
        """Return how much goes through an arc."""
        return self._room[arc + 1]

    def push(self, start: int, most: int) -> int:
        """Push up to ``most`` from a node to the sink and return how much went."""
        left = most
        while left and (path := self._path(start)):
            some = min(left, *(self._room[arc] for arc in path))
            for arc in path:
                self._room[arc] -= some
                self._room[arc ^ 1] += some
            left -= some
        return most - left

    def _path(self, start: int) -> list[int]:
        """Return the arcs of a shortest path with room, none where there is no way. What leads nowhere once leads nowhere for ever."""
        if start in self._dead:
            return []
        came_by: dict[int, int] = {start: -1}
        waiting = deque([start])
        while waiting:
            here = waiting.popleft()
            for arc in self._arcs_of[here]:
                there = self._to[arc]
                if self._room[arc] <= 0 or there in came_by or there in self._dead:
                    continue
                came_by[there] = arc
                if there == SINK:
                    return self._back(came_by)
                waiting.append(there)
        self._dead.update(came_by)
        return []

    def _back(self, came_by: dict[int, int]) -> list[int]:
        path, here = [], SINK
        while (arc := came_by[here]) >= 0:
            path.append(arc)
            here = self._to[arc ^ 1]
        return path[::-1]
