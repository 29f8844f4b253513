"""Quantiles of the tests; normal and chi-square where the degrees of freedom are endless."""

import math

from scipy.special import chdtr, chdtri, fdtr, fdtri, ndtri, stdtrit


def t_quantile(chance: float, dof: float) -> float:
    """The value that Student's t stays below with this chance; normal at infinite ``dof``."""
    return float(ndtri(chance) if math.isinf(dof) else stdtrit(dof, chance))


def f_quantile(chance: float, rank: int, dof: float) -> float:
    """The value that F of ``rank`` and ``dof`` stays below with this chance; chi-square over rank at infinite dof."""
    return float(chdtri(rank, 1.0 - chance) / rank if math.isinf(dof) else fdtri(rank, dof, chance))


def f_chance_beyond(value: float, rank: int, dof: float) -> float:
    """The chance that F of ``rank`` and ``dof`` passes ``value``."""
    return float(1.0 - (chdtr(rank, value * rank) if math.isinf(dof) else fdtr(rank, dof, value)))
