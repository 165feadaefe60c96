"""What was carried is almost empty.

What is seen: nearly all bytes of a transfer are FF, or nearly all are 00.
What it can mean: The part may be padding or a reserved range; the file may be empty or damaged; memory may be erased
by writing.
How to tell it from look-alikes: compressed or encrypted data, which never looks like that
What to try: compare with the file: `canlog image` writes what was carried
Caution: none
Evidence: the first and the last block. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analysis.checks.looking.transfers import attempts, place_of
from analysis.checks.registry import Context, Seen, check
from analysis.operations.attempts import Attempt
from analysis.operations.model import Kind, evidence
from analysis.words import Confidence, Severity

#: A smaller transfer says nothing, and code or data of a real part has fewer bytes of one value (our choice).
FEWEST_BYTES = 64
#: Blocks counted together.
AT_ONCE = 256
BLANK_PERCENT = 90


@check("image-blank", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story, attempt, replaced in attempts(ctx):
        if replaced or attempt.kind is Kind.UPLOAD or attempt.transformed or not attempt.blocks:
            continue
        for value, percent in _filled_with(attempt):
            text = f"{place_of(story, attempt)}: {percent} % of its bytes are {value:02X}."
            shown = (evidence(attempt.blocks[0], "the first block"), evidence(attempt.blocks[-1], "the last block"))
            yield Seen(Confidence.MEDIUM, shown, text)


def _filled_with(attempt: Attempt) -> Iterator[tuple[int, int]]:
    whole = [piece for piece in attempt.account.pieces if not piece.missing]
    counts = np.zeros(256, dtype=np.int64)
    for at in range(0, len(whole), AT_ONCE):  # a download may be as large as memory
        joined = b"".join(piece.data for piece in whole[at : at + AT_ONCE])
        counts += np.bincount(np.frombuffer(joined, dtype=np.uint8), minlength=256)
    carried = int(counts.sum())
    for value in (0x00, 0xFF):
        percent = 100 * int(counts[value]) // max(carried, 1)
        if carried >= FEWEST_BYTES and percent >= BLANK_PERCENT:
            yield value, percent
