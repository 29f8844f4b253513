"""Hand a mixed-integer program to HiGHS and take back what it proved."""

import ctypes
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from tempfile import TemporaryFile
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

Floats = npt.NDArray[np.float64]
PROOF_GAP = 1e-7  # asked of the solver, so that 1e-6 is kept


@dataclass(slots=True)
class Program:
    """Columns and rows while they are put together; every column is bounded on both sides."""

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    whole: list[bool] = field(default_factory=list)
    _ends: list[int] = field(default_factory=lambda: [0])  # where each row's values end
    _column: list[int] = field(default_factory=list)
    _value: list[float] = field(default_factory=list)
    least: list[float] = field(default_factory=list)
    most: list[float] = field(default_factory=list)

    def column(self, lower: float, upper: float, *, whole: bool = False) -> int:
        """Add a column and return its place."""
        self.lower.append(lower)
        self.upper.append(upper)
        self.whole.append(whole)
        return len(self.lower) - 1

    def row(self, terms: dict[int, float], *, least: float = -np.inf, most: float = np.inf) -> None:
        """Add ``least <= sum of value x column <= most``."""
        self._column.extend(terms)
        self._value.extend(terms.values())
        self._ends.append(len(self._column))
        self.least.append(least)
        self.most.append(most)

    def matrix(self) -> csr_array:
        """The rows as a sparse matrix, shape (rows, columns)."""
        shape = (len(self.least), len(self.lower))
        return csr_array((self._value, self._column, self._ends), shape=shape)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """``x`` is the best point found (None: none found), ``bound`` what no point can be below.

    ``failed``: the solver gave up for another reason than time, also without its presolve.
    """

    status: Literal["optimal", "time_limit", "infeasible", "failed"]
    x: Floats | None
    bound: float


def minimise(program: Program, goal: dict[int, float], *, seconds: float, presolve: bool = True) -> Answer:
    """Minimise the goal over the program, for at most so many seconds."""
    if seconds <= 0:
        return Answer(status="time_limit", x=None, bound=-np.inf)
    if not program.lower:  # nothing can move: the rows alone decide
        program.column(0.0, 0.0)
    cost = np.zeros(len(program.lower))
    for column, value in goal.items():
        cost[column] += value
    constraints = LinearConstraint(program.matrix(), program.least, program.most)
    with _quiet_stdout():
        found = milp(
            cost,
            integrality=np.array(program.whole, dtype=np.uint8),
            bounds=Bounds(program.lower, program.upper),
            constraints=constraints,
            options={"time_limit": seconds, "mip_rel_gap": PROOF_GAP, "presolve": presolve},
        )
    if found.status == 2:
        return Answer(status="infeasible", x=None, bound=np.inf)
    if found.status == 0 or (found.status == 1 and found.x is not None):
        bound = found.fun if found.mip_dual_bound is None else found.mip_dual_bound
        return Answer(status="optimal" if found.status == 0 else "time_limit", x=found.x, bound=float(bound))
    if found.status == 1:
        return Answer(status="time_limit", x=None, bound=-np.inf)
    if presolve:
        return minimise(program, goal, seconds=seconds, presolve=False)
    return Answer(status="failed", x=None, bound=-np.inf)


_one_at_a_time = threading.Lock()


@contextmanager
def _quiet_stdout() -> Iterator[None]:
    """Keep the solver's own prints out of standard output, where a command's JSON goes.

    HiGHS writes past Python to file descriptor 1, so the descriptor itself takes a detour into a file. What other
    threads print meanwhile is handed on afterwards. One thread at a time: a second one would save the first's detour.
    """
    with _one_at_a_time:
        try:
            kept = os.dup(1)
        except OSError:  # no standard output at all: nothing to protect
            yield
            return
        with TemporaryFile() as detour:
            _flush_c()
            os.dup2(detour.fileno(), 1)
            try:
                yield
            finally:
                _flush_c()
                os.dup2(kept, 1)
                os.close(kept)
                detour.seek(0)
                _hand_on(detour.readlines())


def _hand_on(lines: list[bytes]) -> None:
    """Print what was not the solver's."""
    others = b"".join(line for line in lines if not line.startswith(b"Highs"))
    while others:
        others = others[os.write(1, others) :]


def _flush_c() -> None:
    """Empty the C library's own buffer, which outlives a change of the descriptor."""
    if sys.platform != "win32":
        ctypes.CDLL(None).fflush(None)
