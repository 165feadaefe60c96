"""All questions of a step, and which of them are put: not the same kind again and again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from analysis.walk import (
    ask_job,
    ask_meaning,
    ask_state,
    ask_transfer,
    ask_transport,
    ask_values,
    ask_vin,
    ask_whole,
    misconceptions,
)
from analysis.walk.question import COMPUTE, JUDGE, READ_OFF, Asker, Question
from analysis.walk.steps import Step, Walk

#: In order of preference where kinds were put equally often.
ASKERS: Final[Sequence[Asker]] = (
    ask_whole.as_ordered, ask_whole.hand_over, ask_whole.who_stopped, ask_whole.first_sign, ask_whole.dead_or_waiting,
    ask_whole.cannot_be_known, ask_whole.order_the_stages, ask_whole.find_the_step,
    ask_state.logger_or_line, ask_state.other_code, ask_meaning.code_means, ask_state.no_way_back,
    ask_transfer.blocks_due, ask_transfer.next_counter, ask_transfer.share_done, ask_transfer.account,
    ask_job.what_proves, ask_job.status_proof, ask_transport.waiting, ask_state.mute_time, ask_state.read_back,
    ask_state.before_and_after, ask_state.ids_vanished, ask_state.seed_of_zeros, ask_meaning.decode_fault,
    misconceptions.they_say, ask_job.copied_from, ask_values.values_to_keep, ask_vin.vins_agree,
    ask_transport.who_answered, ask_transport.suppressed, ask_meaning.announced_times, ask_meaning.kind_of_reset,
    ask_values.scaled_value, ask_values.as_bytes, ask_values.largest_value, ask_vin.vin_check_digit,
    ask_transfer.what_sets_the_pace, ask_transfer.when_done, ask_transfer.last_block, ask_transfer.block_frames,
    ask_job.what_comes_next, ask_meaning.as_letters, ask_transport.flow_control, ask_transport.frames_needed,
    ask_transport.next_sequence_number, ask_transport.who_talks, ask_meaning.record_bytes, ask_transport.p2_kept,
    ask_meaning.session_open, ask_meaning.which_identifier, ask_meaning.which_service,
)  # fmt: skip
#: Questions put at one step.
AT_A_STEP: Final = 2
#: At the last step, where the session as a whole is looked at.
AT_THE_END: Final = 6
#: Of masked values these cannot be answered.
NEEDS_THE_WHOLE: Final = frozenset({"letters", "vin-check-digit", "scaled-value", "as-bytes"})
#: Put wherever they can be: few, and each of its own.
ALWAYS: Final = frozenset({"as-ordered"})
#: Of one kind, by level: reading off is learned soon, judging is not.
MOST_OF_A_KIND: Final[Mapping[int, int]] = {READ_OFF: 3, COMPUTE: 4, JUDGE: 6}


def all_questions(walk: Walk, step: Step) -> list[Question]:
    """Every question that the capture answers at this step, secrets masked."""
    found = (one for asker in ASKERS for one in asker(walk, step))
    return [shown for one in found if (shown := _masked(walk, one)) == one or one.kind not in NEEDS_THE_WHOLE]


def _masked(walk: Walk, one: Question) -> Question:
    said = walk.masks.text
    return replace(
        one, ask=said(one.ask), answer=said(one.answer), because=said(one.because), value=said(one.value),
        wrong=said(one.wrong),
    )  # fmt: skip


def chosen_questions(walk: Walk) -> Mapping[int, tuple[Question, ...]]:
    """By number of the step: at each those whose kind was put least often so far."""
    put: Counter[str] = Counter()
    chosen: dict[int, tuple[Question, ...]] = {}
    for step in walk.steps:
        most = AT_THE_END if step.number == len(walk.steps) else AT_A_STEP
        chosen[step.number] = _chosen(all_questions(walk, step), put, most)
        put.update(one.kind for one in chosen[step.number])
    return chosen


def _chosen(questions: Sequence[Question], put: Counter[str], most: int) -> tuple[Question, ...]:
    """At most one of a kind."""
    left: dict[str, Question] = {}
    for one in questions:
        if one.kind in ALWAYS or put[one.kind] < MOST_OF_A_KIND[one.level]:
            left.setdefault(one.kind, one)
    return tuple(sorted(left.values(), key=lambda one: 0 if one.kind in ALWAYS else put[one.kind])[:most])
