"""What the lines round a break say, fact by fact: which block of how many, which part, the module's last frame, how
long the tester waited and what it tried then, what the module said next. Source: common practice, no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from analysis.breaks.silence import Silent
from analysis.exchange_words import first_bytes, tell
from analysis.exchanges import Answer, Exchange
from analysis.operations.block_form import form_of
from analysis.operations.model import Kind, Operation, Part, evidence
from analysis.record import Record
from analysis.story import Story
from analysis.words import Evidence
from canlog.counting import counted, lasting
from canlog.services.dialects import UDS
from canlog.services.traits import Act

#: What a tester tries at a module that fell silent: an answer to either shows that it lives.
PROBES = (b"\x3e", b"\x10\x01")
#: So many kinds of requests are told.
MOST_KINDS = 4


def break_facts(
    bad: Exchange, operations: Sequence[Operation], story: Story, record: Record, silent: Silent
) -> tuple[Evidence, ...]:
    """All that can be said round the first bad thing, with lines.

    Args:
        bad: the step that broke.
        operations: of all modules; those of this one tell which part it was.
        story: of the module that broke.
        record: all captures.
        silent: who fell silent first.
    """
    found = list(_in_transfer(bad, operations, story, record))
    if bad.outcome in (Answer.SILENT, Answer.INCOMPLETE):
        found += [*_sent(bad), *_last_frame(story, record, bad, silent), *_waited(bad, story, record)]
    return (*found, *_said_since(bad, story, record))


# -- which block, which part


def _in_transfer(bad: Exchange, operations: Sequence[Operation], story: Story, record: Record) -> Iterator[Evidence]:
    loads = [
        item
        for item in operations
        if item.kind is Kind.DOWNLOAD and item.part is Part.PROGRAMMING and item.link.key == story.link.key
    ]
    own = next((item for item in loads if bad.number in item.exchanges), None)
    if own is None:
        return
    numbers = frozenset(own.exchanges)
    members = [item for item in story.own if item.number in numbers]
    if bad.act is Act.BLOCK:
        yield evidence(bad, _which_block(bad, own, members))
    if part := _which_part(own, loads, story, record):
        yield evidence(members[0], part)


def _which_block(bad: Exchange, own: Operation, members: Sequence[Exchange]) -> str:
    request = next((item for item in members if item.act is Act.DOWNLOAD), None)
    blocks = [item for item in members if item.act is Act.BLOCK]
    size = own.details["size_asked"]
    form = form_of(request, blocks, size if isinstance(size, int) else None)
    before = [item for item in blocks if item.begin < bad.begin and item.told != bad.told]
    number = len({form.read(item.told).mark if form.head > 1 else item.number for item in before}) + 1
    first = form.size(blocks[0].request.length) if blocks[0].request else 0
    total = f" of {-(-size // first)}" if isinstance(size, int) and size and first and _is_plain(own) else ""
    of_size = f" of {size:,}" if isinstance(size, int) else ""
    carried = own.details["size_carried"]
    if before and not carried:
        return f"block {number}{total}; the bytes of those in front of it were not recorded"
    return f"block {number}{total}; {carried:,}{of_size} bytes were answered"


def _is_plain(own: Operation) -> bool:
    """What is carried is as long as what is announced."""
    return not own.details["compressed"] and len(own.exchanges) < 256  # counters begin anew behind FF


def _which_part(own: Operation, loads: Sequence[Operation], story: Story, record: Record) -> str:
    """``part 1 of 2 (calibration)``; how many only where names list them."""
    named = [part for part in record.names.parts(story.label) if not part.driver]
    subjects = list(dict.fromkeys(item.subject for item in loads if item.number <= own.number))
    number = len(subjects)
    called = f" ({own.details['name']})" if own.details["name"] else ""
    if len(named) >= number and len(named) > 1:
        return f"part {number} of {len(named)}{called}"
    return f"part {number}{called}" if number > 1 or called else ""


# -- the last frames of both


def _sent(bad: Exchange) -> Iterator[Evidence]:
    """How much of a broken message was on the bus."""
    for message in bad.messages:
        if not message.was_sent and message.length > 0:
            seen = len(message.data) - sum(
                part.end - part.start for part in message.missing if part.end <= len(message.data)
            )
            whose = "the request" if message is bad.request else "the answer"
            yield evidence(
                bad, f"{whose} broke off: {seen:,} of its {counted(message.length, 'byte')} are in the capture"
            )


def _last_frame(story: Story, record: Record, bad: Exchange, silent: Silent) -> Iterator[Evidence]:
    """The module's last frame of any kind: a flow control is a sign of life, though it answers nothing."""
    if silent is Silent.NOBODY or story.link.response_id is None:
        return
    seen = record.capture(bad.capture).survey.background.of(story.link.channel, story.link.response_id)
    if seen is None:
        return
    line = int(seen.last_line)
    of_control = any(line in message.flow_control_lines for item in story.own for message in item.messages)
    kind = "it let the tester send on (flow control), and answered nothing since" if of_control else "an answer"
    yield Evidence(bad.capture, (line,), f"last frame of {story.label}: {kind}")


def _said_since(bad: Exchange, story: Story, record: Record) -> Iterator[Evidence]:
    """The first answer of the module behind the break: a sign of life, and of what it was left in."""
    answer = next((item for item in story.own if item.begin > bad.end and item.response is not None), None)
    if answer is None:
        return
    has_time = record.capture(bad.capture).survey.summary.last_time_ns is not None
    is_near = has_time and answer.capture == bad.capture and answer.end_ns >= bad.end_ns
    when = f"{lasting(answer.end_ns - bad.end_ns)} later" if is_near else "later"
    yield evidence(answer, f"{story.label} answered {when}: {tell(answer, story.label, record)}")


def _waited(bad: Exchange, story: Story, record: Record) -> Iterator[Evidence]:
    """How long the tester waited for the answer, what it sent then, and what it never tried."""
    end = record.capture(bad.capture).survey.summary.last_time_ns
    if end is None:
        return
    later = [item for item in story.own if item.capture == bad.capture and item.begin > bad.begin and item.request]
    if not later:
        rest = end - bad.end_ns
        is_cut = rest < record.limits.capture_end_ns
        ends = "the recording ends there" if is_cut else f"the recording ends {lasting(rest)} later"
        yield evidence(bad, f"the tester sent {story.label} nothing more; {ends}")
        return
    kinds = Counter(first_bytes(item) for item in later)
    sent = ", ".join(
        f"{text}{f' ({number} times)' if number > 1 else ''}" for text, number in kinds.most_common(MOST_KINDS)
    )
    more = f" and {len(kinds) - MOST_KINDS} other requests" if len(kinds) > MOST_KINDS else ""
    never = [probe.hex(" ").upper() for probe in PROBES if not any(item.asked.startswith(probe) for item in later)]
    tried = f"; never {' or '.join(never)}" if never and bad.dialect == UDS else ""
    waited = lasting(max(later[0].begin_ns - bad.end_ns, 0))
    to_last = lasting(later[-1].end_ns - bad.end_ns)
    text = f"the tester waited {waited}, then sent {sent}{more}, the last {to_last} later{tried}"
    first, last = later[0].lines[0], later[-1].lines[1]
    yield Evidence(bad.capture, (first,) if first == last else (first, last), text)
