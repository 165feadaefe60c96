"""Questions on what a module is and was: locked, quiet, erased, restarted, changed; and on what the recorder missed."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.operations.routines import START, read_call
from analysis.readings import Reading
from analysis.report.wording import seconds
from analysis.walk.ask_values import readings_of
from analysis.walk.question import COMPUTE, JUDGE, READ_OFF, Question
from analysis.walk.steps import Step, Walk
from canlog.counting import counted
from canlog.isotp.addressing import id_text
from canlog.names.dids import SERIAL_NUMBER, changes_with_software
from canlog.services.traits import Act, item_written, orders_quiet

NS = 1_000_000_000
#: An id that stops this soon behind an order for quiet stopped because of it, if it stays away this long.
SOON_NS, LONG_NS = 1 * NS, 2 * NS
MOST_IDS = 8


def seed_of_zeros(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether the module was locked. Source: ISO 14229-1:2020, 10.4 (M): a seed of zeros says that it is open."""
    first = step.first
    if step.act is not Act.UNLOCK or not first.positive or len(first.answered) < 3 or not first.answered[1] & 1:
        return
    locked = any(first.answered[2:])
    yield Question(
        "seed-of-zeros", JUDGE, "Was the module locked? What would a seed of nothing but zeros have meant?",
        f"{'it was locked: the seed is not zero' if locked else 'it was open already: the seed is zero'}; "
        "zeros mean that this level is open, without a key", "a seed asks for a key only where one is due", step.lines,
        "locked" if locked else "open", "the seed is the password: no, the key has to be worked out from it",
    )  # fmt: skip


def no_way_back(walk: Walk, step: Step) -> Iterator[Question]:
    """From which step on the old software is gone."""
    call = read_call(step.first, walk.labels.get(step.first.link.key, ""), walk.report.record.names)
    taken = step.first.positive or bool(step.first.pendings)
    if call is None or call.kind != "erase" or call.control != START or not taken:
        return
    yield Question(
        "no-way-back", JUDGE, "May the job be broken off now, and the vehicle be used as before?",
        "no: once the erase is taken up the old software is gone; the way out is forward, with the supply held up",
        "until this step everything could be taken back; the first erase is the point of no return", step.lines,
        f"{step.number}", "yes, because no new byte was sent yet",
    )  # fmt: skip


def ids_vanished(walk: Walk, step: Step) -> Iterator[Question]:
    """Which everyday messages stop behind an order for quiet."""
    first = step.first
    if step.act is not Act.QUIET or not orders_quiet(first.told, first.dialect) or not walk.has_clock(first):
        return
    gone = []
    for each in walk.report.record.capture(first.capture).survey.background.traffic:
        here = (gap for gap in each.gaps if gap.length_ns >= LONG_NS)
        stops = any(first.begin_ns - SOON_NS < gap.from_ns < first.end_ns + SOON_NS for gap in here)
        if stops and each.channel == first.link.channel and not _is_diagnostic(walk, each.can_id):
            gone.append(id_text(each.can_id, each.extended))
    if not gone:
        return
    shown = ", ".join(gone[:MOST_IDS]) + (f" and {len(gone) - MOST_IDS} more" if len(gone) > MOST_IDS else "")
    yield Question(
        "ids-vanished", READ_OFF,
        "Everyday messages were ordered to stop. How many ids fall silent within a second, and which?",
        f"{counted(len(gone), 'id')}: {shown}",
        "compare the ids on the bus in front of the order and behind it (`canlog list --level frames`)",
        step.lines, " ".join(gone), "none, because nobody answered: a quiet bus is the answer",
    )  # fmt: skip


def _is_diagnostic(walk: Walk, can_id: int) -> bool:
    links = walk.report.record.exchanges
    return any(can_id in (one.link.request_id, one.link.response_id) for one in links)


def mute_time(walk: Walk, step: Step) -> Iterator[Question]:
    """How long a module says nothing behind its restart, and what it says first."""
    first = step.first
    story = walk.stories.get(first.link.key)
    if step.act is not Act.RESET or not first.positive or story is None or not walk.has_clock(first):
        return
    signs = [
        (one.time_ns, f"its start message in line {one.evidence.lines[0]}")
        for one in story.starts
        if one.place > first.end and one.time_ns > first.end_ns
    ]
    for later, exchange in walk.behind(step, first):
        answer = next(iter((*exchange.pendings, *([exchange.response] if exchange.response else ()))), None)
        if answer is not None and exchange.capture == first.capture and answer.begin_ns > first.end_ns:
            signs.append((answer.begin_ns, f"its answer in line {answer.first_line} (step {later.number})"))
            break
    if not signs:
        return
    at, sign = min(signs)
    yield Question(
        "mute-time", COMPUTE,
        "How long does the module say nothing behind the restart, and what is its first sign of life?",
        f"{seconds(at - first.end_ns)} s; {sign}", "from the end of its answer to its next frame in this recording",
        first.lines, str(at - first.end_ns),
        "no time at all: a module that answers at once and goes on as before has not restarted",
    )  # fmt: skip


def before_and_after(walk: Walk, step: Step) -> Iterator[Question]:
    """A value that was read before the work: is it another one now, and should it be?"""
    for now in readings_of(walk, step.first):
        found = _earlier(walk, step, now)
        if found is None or now.kind not in ("identification", "") or item_written(step.first.asked, "uds"):
            continue
        earlier, old = found
        if not any(one.act is Act.DOWNLOAD for one in walk.steps[earlier.number : step.number]):
            continue
        same = old.raw == now.raw
        due = now.tells_software or bool(now.part) or changes_with_software(now.identifier)
        fixed = now.identifier == SERIAL_NUMBER
        should = (
            "it names software or calibration, which is what programming changes" if due else
            "it names the part itself, which programming does not change" if fixed else
            "whether it should, the order must say"
        )  # fmt: skip
        yield Question(
            "before-and-after", JUDGE,
            f"{now.title} was read before the programming as well, in step {earlier.number}. Is it another one now? "
            "Should it be?",
            f"{'the same' if same else 'another one'}: {_shown(old)}{'' if same else f', now {_shown(now)}'}; {should}",
            "compare the two records byte by byte", step.lines, "same" if same else "other",
            "it failed, because the number is the same: only the part programmed changes its own" if same else "",
        )  # fmt: skip
        return


def read_back(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether what is read now is what was written before."""
    for now in readings_of(walk, step.first):
        for earlier in reversed(walk.steps[: step.number - 1]):
            item = item_written(earlier.first.asked, earlier.first.dialect)
            if item is None or earlier.first.link.key != step.first.link.key or item.identifier != now.identifier:
                continue
            restarted = any(
                one.act is Act.RESET and one.first.positive and one.first.link.key == step.first.link.key
                for one in walk.steps[earlier.number : step.number - 1]
            )
            same = item.data == now.raw
            behind = "behind a restart: it is stored" if restarted else "with no restart between: it may be lost yet"
            yield Question(
                "read-back", JUDGE,
                "This value was written in this session. In which step? Is it equal now? What is the reading worth?",
                f"step {earlier.number}; {f'equal, read {behind}' if same else 'NOT equal: it was not stored as sent'}",
                "what a module says later about itself is proof; its yes to the writing is not", step.lines,
                f"{earlier.number} {'equal' if same else 'differs'}",
                "the yes in that step was proof enough: it says accepted, not stored",
            )  # fmt: skip
            return


def other_code(walk: Walk, step: Step) -> Iterator[Question]:
    """The same request refused again, for another reason."""
    first = step.first
    if first.nrc is None:
        return
    for one in walk.before(step, first):
        if one.asked == first.asked and one.nrc is not None and one.nrc != first.nrc:
            yield Question(
                "other-code", JUDGE, f"The same request was refused before with {one.nrc:02X}. Why another code now?",
                f"then {one.refusal}, now {first.refusal}: it got to another place before it stopped",
                "a code names the reason that is met first; another code means another state, not another mood",
                first.lines, f"{one.nrc:02X} {first.nrc:02X}", "the module is broken, because it contradicts itself",
            )  # fmt: skip
            return


def logger_or_line(walk: Walk, step: Step) -> Iterator[Question]:
    """A frame is missing from a request that was answered yes."""
    for one in step.exchanges:
        if one.request is None or not one.request.has_hole or one.response is None or one.response.data[:1] == b"\x7f":
            continue
        yield Question(
            "logger-or-line", JUDGE, "A frame of this request is missing here. Did the module miss it too?",
            "no: it answered yes, and a receiver that misses a frame drops the whole message; the recorder missed it",
            "what comes behind the hole tells whose hole it is", one.lines, "logger",
            "a gap in the recording is a gap on the bus",
        )  # fmt: skip
        return


def _earlier(walk: Walk, step: Step, now: Reading) -> tuple[Step, Reading] | None:
    """The first reading of the same value from the same module."""
    for earlier in walk.steps[: step.number - 1]:
        for one in earlier.exchanges:
            if one.link.key == step.first.link.key:
                old = next((value for value in readings_of(walk, one) if value.key == now.key), None)
                if old is not None:
                    return earlier, old
    return None


def _shown(one: Reading) -> str:
    return one.text or one.raw.hex(" ").upper()
