"""All questions of a step, and which of them are put: not the same kind again and again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Final

from analysis.walk import ask_job, ask_meaning, ask_transport
from analysis.walk.question import COMPUTE, JUDGE, READ_OFF, Asker, Question
from analysis.walk.steps import Step, Walk

#: In order of preference where kinds were put equally often.
ASKERS: Final[Sequence[Asker]] = (
    ask_meaning.code_means, ask_job.blocks_due, ask_job.next_counter, ask_job.share_done, ask_job.what_proves,
    ask_job.status_proof, ask_transport.waiting, ask_meaning.decode_fault, ask_job.copied_from,
    ask_transport.who_answered, ask_transport.suppressed, ask_meaning.announced_times, ask_meaning.kind_of_reset,
    ask_job.what_comes_next, ask_meaning.as_letters, ask_transport.flow_control, ask_transport.frames_needed,
    ask_meaning.record_bytes, ask_transport.p2_kept, ask_meaning.session_open, ask_meaning.which_identifier,
    ask_meaning.which_service,
)  # fmt: skip
#: Questions put at one step.
AT_A_STEP: Final = 2
#: Of one kind, by level: reading off is learned soon, judging is not.
MOST_OF_A_KIND: Final[Mapping[int, int]] = {READ_OFF: 3, COMPUTE: 5, JUDGE: 10}


def all_questions(walk: Walk, step: Step) -> list[Question]:
    """Every question that the capture answers at this step."""
    return [one for asker in ASKERS for one in asker(walk, step)]


def chosen_questions(walk: Walk) -> Mapping[int, tuple[Question, ...]]:
    """By number of the step: at each those whose kind was put least often so far."""
    put: Counter[str] = Counter()
    chosen: dict[int, tuple[Question, ...]] = {}
    for step in walk.steps:
        left = [one for one in all_questions(walk, step) if put[one.kind] < MOST_OF_A_KIND[one.level]]
        asked = sorted(left, key=lambda one: put[one.kind])[:AT_A_STEP]
        put.update(one.kind for one in asked)
        chosen[step.number] = tuple(asked)
    return chosen
