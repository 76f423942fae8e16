"""A first-order recursion over a whole record at once. Pure: no clock, no I/O."""

import math

import numpy as np

from alerts.science.record import FloatArray


def scan(decay: FloatArray, drive: FloatArray, start: FloatArray) -> FloatArray:
    """Return every state of s <- decay s + drive along the last axis. [unit of the start]

    Parameters
    ----------
    decay : ndarray, shape (n,) or (..., n), 0 to 1
        What is kept of the state over each step. [1]
    drive : ndarray, shape (..., n), n >= 1
        What each step adds. [unit of the start]
    start : ndarray, shape (...)
        State before the first step.

    Returns
    -------
    ndarray, shape (..., n)
        State after each step. [unit of the start]

    Notes
    -----
    A blocked scan: all blocks side by side from zero, then their ends in order, then each block's start carried
    through it. Only products of decays in 0..1 and sums occur, so nothing can overflow.

    Examples
    --------
    >>> scan(np.array([0.5, 0.5, 0.0]), np.array([1.0, 1.0, 7.0]), np.array(4.0)).tolist()
    [3.0, 2.5, 7.0]

    References
    ----------
    [1] Arithmetic; the properties hold it to the plain loop.
    """
    steps = drive.shape[-1]
    length = math.isqrt(steps - 1) + 1
    shape = (*start.shape, -(-steps // length), length)
    decays = _in_blocks(decay, shape, 1.0)
    states = _in_blocks(drive, shape, 0.0)
    for at in range(1, length):
        states[at] += decays[at] * states[at - 1]
    kept = np.multiply.accumulate(decays, axis=0)
    carried = np.empty(shape[:-1])
    state = start
    for block in range(shape[-2]):
        carried[..., block] = state
        state = kept[-1, ..., block] * state + states[-1, ..., block]
    states += kept * carried
    return np.moveaxis(states, 0, -1).reshape(*start.shape, -1)[..., :steps]


def _in_blocks(values: FloatArray, shape: tuple[int, ...], filler: float) -> FloatArray:
    padded = np.full((*shape[:-2], shape[-2] * shape[-1]), filler)
    padded[..., : values.shape[-1]] = values
    return np.ascontiguousarray(np.moveaxis(padded.reshape(shape), -1, 0))
