"""Linear programs: the least cost of what balances, or whether anything does; solved by HiGHS."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from plumbstone.meshes.piece import Flags, Floats, Indices

Entries = tuple[Indices, Indices, Floats]  # rows, columns and values of a sparse matrix


@dataclass(frozen=True, slots=True)
class Answer:
    """What solves a program."""

    values: Floats  # (n,) of the unknowns
    worth: Floats  # (m,) by how much the cost rises for a unit more of each row


class Program:
    """Unknowns x ≥ 0 with some products matrix @ x; bounds and costs can be changed.

    Another question begins where the last one ended, which takes a few steps.
    """

    def __init__(self, entries: Entries, rows: int, columns: int, **options: Any) -> None:
        import highspy

        self._solved = highspy.HighsModelStatus.kOptimal
        self._rows = np.arange(rows, dtype=np.int32)
        self._columns = np.arange(columns, dtype=np.int32)
        self._highs = highspy.Highs()
        for option, value in ({"output_flag": False} | options).items():
            self._highs.setOptionValue(option, value)
        order = np.lexsort(entries[:2])
        row, column, value = entries[0][order], entries[1][order], entries[2][order]
        program = highspy.HighsLp()
        program.num_row_, program.num_col_ = rows, columns
        program.row_lower_ = program.row_upper_ = np.zeros(rows)
        program.col_cost_ = program.col_lower_ = np.zeros(columns)
        program.col_upper_ = np.full(columns, np.inf)
        matrix = program.a_matrix_
        matrix.format_ = highspy.MatrixFormat.kColwise
        matrix.num_row_, matrix.num_col_ = rows, columns
        matrix.start_ = np.searchsorted(column, np.arange(columns + 1))
        matrix.index_, matrix.value_ = row, value
        self._highs.passModel(program)

    def costing(self, cost: ArrayLike) -> "Program":
        """Ask for the least cost @ x."""
        self._highs.changeColsCost(len(self._columns), self._columns, cost)
        return self

    def within(self, load: tuple[ArrayLike, ArrayLike], x: tuple[ArrayLike, ArrayLike]) -> bool:
        """Solve with products and unknowns from … to; tell whether there is an answer."""
        self._highs.changeRowsBounds(len(self._rows), self._rows, *load)
        low, high = x
        self._middle = np.add(low, high) / 2
        self._highs.changeColsBounds(len(self._columns), self._columns, low, np.maximum(low, high))
        self._highs.run()
        return bool(self._highs.getModelStatus() == self._solved)

    def basis(self) -> tuple[Indices, Flags]:
        """Give the unknowns that the answer hangs on, and which others are at their upper end."""
        free = self._highs.getBasicVariables()[1]
        return free[free >= 0], np.array(self._highs.getSolution().col_value) > self._middle

    def answer(self) -> Answer:
        """Give what was found."""
        found = self._highs.getSolution()
        return Answer(np.array(found.col_value), np.array(found.row_dual))


def entries_of(blocks: Floats) -> Entries:
    """Entries of a matrix with blocks (k, rows, columns) along its diagonal, all else 0."""
    k, i, j = np.nonzero(blocks)
    _, rows, columns = blocks.shape
    return k * rows + i, k * columns + j, blocks[k, i, j]


def least_cost(
    cost: Floats, entries: Entries, load: Floats, low: Floats, high: Floats
) -> Answer | None:
    """Minimise cost @ x with matrix @ x = load and x from low to high; None: impossible."""
    near = {f"{which}_feasibility_tolerance": 1e-9 for which in ("primal", "dual")}
    program = Program(entries, len(load), len(cost), **near).costing(cost)
    return program.answer() if program.within((load, load), (low, high)) else None
