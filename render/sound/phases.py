"""Bringing the end of a stretched passage into phase with the next one, where the same music goes on at another speed.

Two such passages agree in time and in level, but not in phase: an engine that keeps the pitch lets every partial run
on from where its passage began, at its own frequency. Simply crossfaded, a held tone may cancel itself: over 8 ms a
tone of 220 Hz lost up to 1.9 dB (20 ms around the seam), over 80 ms up to 16 dB, with either engine.

So the end of the old passage is taken apart into short blocks, and what lies in each bin is turned, block by block,
by as much as the new passage is ahead there, until both are in phase. By how much is told by all blocks together,
the loud ones most; an attack, which both passages have at the same time, asks for no turn where it is louder than the
tones around it. A partial's pitch is off by 4 Hz at the most while it is turned.

The turn ends, and the new passage begins, one block before the seam: a block that held the attack on the bar line
would smear it ahead.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from render.sound.seams import SEAM_S, Placed, join
from render.values import Audio, nearest_frame

BLOCK_S = 0.0464
"""Long enough to tell octaves of a bass apart, short enough to turn steadily within `TURN_S`."""
HOPS = 8
"""Steps of a block; its squared Hann windows add up to a constant."""
TURN_S = 0.13
"""How long the turn takes. With the blocks around it, it fits into the pad of a passage at any speed."""


def in_phase(placed: Sequence[Placed], goes_on: Sequence[bool], rate_hz: int) -> list[Placed]:
    """The passages, each whose next one goes on from it with an end that is in phase with that.

    `goes_on` says of each passage whether it is the music of the one before it, going on.
    """
    turned = [
        _turned(old, new, rate_hz) if on else old
        for (old, new), on in zip(pairwise(placed), goes_on[1:], strict=True)
    ]
    return [*turned, *placed[-1:]]


def _turned(old: Placed, new: Placed, rate_hz: int) -> Placed:
    """`old` with its end turned into the phase of `new`, and `new` itself for the last block before the seam.

    Left as it is where there is no room for that: a passage shorter than a few blocks, or without its pads.
    """
    hop = round(BLOCK_S * rate_hz / HOPS)
    block = HOPS * hop
    body = old.body_end - old.body_start
    turn = hop * (min(round(TURN_S * rate_hz), body - block) // hop)
    telling = turn + 3 * block // 2
    """From where the first block that is turned begins; before it lies one that is left as it is."""
    if turn < block or telling > new.body_start or telling + block > old.body_end:
        return old
    parts = _blocks(old.audio[old.body_end - telling - block : old.body_end], hop)
    ahead = _blocks(new.pre_roll(telling), hop)
    angle = np.angle(np.sum(ahead * np.conj(parts[HOPS:]), axis=(0, 2)))
    # A block is turned as its middle asks for; that of block HOPS is where the turn begins.
    progress = np.clip((np.arange(len(parts)) - HOPS) * hop / turn, 0.0, 1.0)
    turned = _overlapped(parts * np.exp(1j * angle[:, None] * progress[:, None, None]), hop)

    audio = old.audio.copy()
    switch = old.body_end - block
    audio[switch - (telling - block) : switch] = turned[block:-block]
    fade = nearest_frame(SEAM_S * rate_hz)
    coming = new.pre_roll(block + fade)
    audio[switch - fade : switch] = join(audio[switch - fade : switch], coming[:fade])
    audio[switch : old.body_end] = coming[fade:]
    return replace(old, audio=audio)


Blocks = npt.NDArray[np.complex128]
"""Shape (blocks, bins, channels)."""


def _window(hop: int) -> npt.NDArray[np.float64]:
    return np.sin(np.pi * np.arange(HOPS * hop) / (HOPS * hop)) ** 2


def _blocks(audio: Audio, hop: int) -> Blocks:
    """Windowed blocks of audio (frames, channels), one every `hop` frames, and their spectra."""
    windows = np.lib.stride_tricks.sliding_window_view(audio, HOPS * hop, axis=0)[::hop]
    return np.fft.rfft(windows * _window(hop), axis=2).transpose(0, 2, 1)


def _overlapped(blocks: Blocks, hop: int) -> Audio:
    """Blocks as sound again, (frames, channels); whole but for the first and last block's length."""
    block = HOPS * hop
    sound = np.zeros(((len(blocks) - 1) * hop + block, blocks.shape[2]))
    window = _window(hop)[:, None]
    for index, part in enumerate(np.fft.irfft(blocks, block, axis=1)):
        sound[index * hop : index * hop + block] += part * window
    # Hann squared, moved by an eighth of its length eight times, adds up to three eighths of eight.
    return (sound / (HOPS * 3 / 8)).astype(np.float32)
