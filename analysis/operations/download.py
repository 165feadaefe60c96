"""Downloads, uploads and file transfers: each attempt with its word.

| word | when |
|---|---|
| failed | a final refusal of erase, request, a block or the exit; a check that is refused for the memory or whose status is known to be bad; only the boot loader answers after the restart |
| interrupted | begun (erase accepted, or request accepted) and neither finished nor refused |
| confirmed | request, every block and the exit answered positively, the account closes, and a proof (``download_proof``) |
| unproven | the same without a proof; or its beginning, the request, is not in the capture; or the account is open or partly unseen and the proof is no check by the module itself; or what the module said since contradicts it |

A small download into RAM in front of an erase is a helper program: a step, not a part. "End" and "account" are per
dialect: UDS ends with 37 and counts blocks.
Source: ISO 14229-1:2020, 15 and 17 (M); the words are ours.
"""  # noqa: E501

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import takewhile

from analysis.exchanges import Answer, Exchange, Place
from analysis.limits import SECOND_NS
from analysis.modes import mode_now
from analysis.operations.attempts import Attempt, attempts_of
from analysis.operations.download_checks import checks_of, last_of_each, part_of, superseded_at
from analysis.operations.download_proof import DownloadProof, memory_told_otherwise, proofs_of
from analysis.operations.identification import telling_identifiers, why_not_identified
from analysis.operations.identity_changed_again import identity_changed_again
from analysis.operations.model import Kind, Operation, Part, evidence, span
from analysis.operations.programmed_state import state_behind
from analysis.operations.routines import RoutineCall, Status, furthest, has_begun, told_erase
from analysis.operations.seams import SaidOfSeam, said_of_seams
from analysis.operations.transfer_account import Account
from analysis.readings import said_identifiers
from analysis.record import Record
from analysis.story import Mode, Story
from analysis.trust.doubts import SPOILT, Doubt, inside, spoils
from analysis.words import Confidence, Evidence, Outcome, Word
from canlog.counting import counted
from canlog.services.gmw3110 import FULLY_PROGRAMMED
from canlog.services.traits import Act

#: Refusals of a routine behind a download that speak of the memory or of the transfer: a check that says no. Any
#: other refusal says that the check was not carried out (ISO 14229-1:2020, annex A.1 (M)).
MEMORY_REFUSALS = frozenset({0x70, 0x71, 0x72, 0x73})

#: Kinds of routine that judge what was carried.
CHECKS = ("check", "dependencies")

#: What a module answers in the middle of a transfer as well.
LOOKING = frozenset({Act.READ, Act.READ_MEMORY, Act.READ_FAULTS, Act.TESTER_PRESENT})

NOT_PROVED = "nothing afterwards proves that the memory is right"

#: Reason of a message whose receiver has no room for it.
OVERFLOW = "overflow"


def find_downloads(story: Story, record: Record) -> list[Operation]:
    """All transfers of a module, in order, each with its word; superseded ones included."""
    attempts = attempts_of(story, record)
    subjects = _subjects(attempts)
    return [
        replace(_Judge(attempt, attempts, story, record).operation(), subject=subject)
        for attempt, subject in zip(attempts, subjects, strict=True)
    ]


def _subjects(attempts: Sequence[Attempt]) -> list[str]:
    """What each attempt is at: the same text for attempts at the same memory, so that the last one counts."""
    subjects: list[str] = []
    for index, attempt in reversed(list(enumerate(attempts))):
        replacing = [at for at in range(index + 1, len(attempts)) if attempts[at].replaces(attempt)]
        later = replacing[0] if attempt.is_covered_by([attempts[at] for at in replacing]) else None
        own = f"{attempt.kind} {index}" if later is None else subjects[len(attempts) - 1 - later]
        subjects.append(own)
    return subjects[::-1]


@dataclass
class _Judge:
    attempt: Attempt
    attempts: Sequence[Attempt]
    story: Story
    record: Record

    def operation(self) -> Operation:
        attempt = self.attempt
        driver = self._is_driver()
        # What checks and identities say is about memory that was written.
        writes = attempt.kind is not Kind.UPLOAD
        checks = checks_of(attempt, self.attempts, self.story, self.record) if writes else []
        outcome = self._outcome(checks)
        members = [*attempt.exchanges, *(call.exchange for call in checks)]
        account = attempt.account
        duration = max(item.end_ns for item in attempt.blocks) - attempt.blocks[0].begin_ns if attempt.blocks else 0
        gaps = self.record.capture(attempt.begin[0]).gaps
        is_whole = not attempt.seams and not any(attempt.begin[1] <= gap.from_line < attempt.end[1] for gap in gaps)
        part = part_of(attempt, self.story, self.record)
        return Operation(
            kind=attempt.kind,
            link=self.story.link,
            label=self.story.label,
            outcome=outcome,
            subject="",
            part=Part.PROGRAMMING if attempt.kind is not Kind.UPLOAD and not driver else None,
            details={
                "name": part.name if part else None,
                "address": None if attempt.address is None else f"{attempt.address:08X}",
                "size_asked": attempt.size,
                "size_carried": account.carried,
                "blocks": account.blocks,
                "ended": attempt.ended is not None,
                "checked": any(call.status is Status.GOOD for call in checks),
                "compressed": attempt.transformed,
                "rate_bytes_per_s": round(account.carried * SECOND_NS / duration)
                if is_whole and duration > 0
                else None,
                "driver": driver,
                "driver_presumed": driver and part is None and not attempt.runs_itself,
                "erased": self._is_erased(),
                "untouched": self._is_untouched(),
            },
            **span(members),  # type: ignore[arg-type]
        )

    def _is_driver(self) -> bool:
        """A small download, seen from its session to its end, that nothing was erased for, in front of an erase.

        Without the session's begin an erase may stand in front of the capture; without an end no tester goes on.
        """
        attempt = self.attempt
        part = part_of(attempt, self.story, self.record)
        if part is not None:
            return bool(part.driver)
        if attempt.kind is not Kind.DOWNLOAD or attempt.erases or attempt.address is None or attempt.ended is None:
            return False
        if attempt.runs_itself:
            return any(item.begin > attempt.end and not item.runs_itself for item in self.attempts)
        if self.story.before(attempt.exchanges[0]).session is None:
            return False
        if (attempt.size or 0) > self.record.limits.driver_max_bytes:
            return False
        others = [item for item in self.attempts if item is not attempt]
        if any(item.erases and (item.same_thing(attempt) or item.erases_address(attempt.address)) for item in others):
            return False
        later = [item for item in others if item.begin > attempt.end and item.begin[0] == attempt.end[0]]
        earlier = [item for item in others if item.end < attempt.begin and self._same_go(item)]
        return bool(later) and bool(later[0].erases) and not any(item.erases for item in earlier)

    def _same_go(self, other: Attempt) -> bool:
        """No restart between the other attempt and this one."""
        start = self.story.start_after(other.end)
        return other.begin[0] == self.attempt.begin[0] and (start is None or start.place > self.attempt.begin)

    def _outcome(self, checks: Sequence[RoutineCall]) -> Outcome:
        attempt = self.attempt
        refused = self._refusal(checks)
        if refused is not None:
            exchange, text = refused
            begun = self._erase_before()
            shown = (*([begun] if begun else []), evidence(exchange, text))
            reason = f"{begun.text}; then refused with {exchange.nrc or 0:02X}" if begun else text
            return Outcome(Word.FAILED, Confidence.HIGH, shown, (reason,), _after_failure(self._label()))
        if attempt.kind is Kind.FILE and attempt.request is not None and not attempt.blocks:
            return self._file_without_data(attempt.request)
        gap = self._unfinished(checks)
        if gap:
            lines = (evidence(attempt.exchanges[-1], gap),)
            text = f"program {self._label()} again from the programming session, and capture it to the end"
            return Outcome(Word.INTERRUPTED, self._sure(), lines, (gap,), text)
        return self._weighed_against(self._finished(checks))

    def _weighed_against(self, outcome: Outcome) -> Outcome:
        """Not proven where what the module said since contradicts it, whatever else is good."""
        contradiction = None if self._is_driver() else self._contradiction()
        if contradiction is None:
            return outcome
        said, wish = contradiction
        return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), (*outcome.because, f"{said.text} ({said.where})"), wish)

    def _contradiction(self) -> tuple[Evidence, str] | None:
        """Memory that reads otherwise (a check may have covered less), or who it says it is; and what would tell."""
        differs = memory_told_otherwise(self.attempt, self.attempts, self.story)
        if differs is not None:
            return differs, f"compare the memory read from {self._label()} with the file before it is trusted"
        part = part_of(self.attempt, self.story, self.record)
        changed = identity_changed_again(
            self.attempt, self.attempts, part.name if part else "", self.story, self.record
        )
        if changed is not None:
            again = "read its software identification after each of two ignition cycles and capture it"
            return changed, f"find out which program {self._label()} runs: {again}"
        return None

    def _label(self) -> str:
        part = part_of(self.attempt, self.story, self.record)
        return f"{self.story.label} {part.name}" if part else self.story.label

    def _refusal(self, checks: Sequence[RoutineCall]) -> tuple[Exchange, str] | None:
        """The final refusal that ended the attempt, and what it says."""
        attempt = self.attempt
        steps = [
            ("the erase was refused", attempt.erases[-1] if attempt.erases else None),
            (f"the request to transfer was refused{self._behind_erase()}", attempt.request),
            ("a block was refused", attempt.account.refused),
            ("the transfer exit was refused", attempt.exit_refused),
        ]
        for text, exchange in steps:
            if exchange is not None and exchange.outcome is Answer.NEGATIVE:
                return exchange, f"{text}: {exchange.refusal}"
        for call in last_of_each(checks):
            if call.status is Status.BAD and call.kind in CHECKS:
                return call.exchange, f"the module's check {call.said} says no: {call.text}"
            if call.status is Status.REFUSED and call.exchange.nrc in MEMORY_REFUSALS:
                return call.exchange, f"the check {call.said} was refused: {call.exchange.refusal}"
        return self._state_says_no() or self._boot_only_after_restart()

    def _state_says_no(self) -> tuple[Exchange, str] | None:
        """What the module says of its own state behind the last transfer (GMW3110: A2).

        That is about its parts: a helper program that ran before left nothing of itself.
        """
        said = state_behind(max(item.end for item in self.attempts), self.story)
        if said is None or self.attempt.ended is None or said.state == FULLY_PROGRAMMED or self._is_driver():
            return None
        return said.exchange, f"the module says of its own state: {said.text}"

    def _is_erased(self) -> bool:
        return any(item.positive for item in self.attempt.erases)

    def _behind_erase(self) -> str:
        """``, after memory was erased``; empty where none was asked for, or all of them were refused."""
        erase = furthest([item for item in self.attempt.erases if item.nrc is None])
        return f", after {told_erase(erase)}" if erase is not None else ""

    def _is_untouched(self) -> bool:
        """Neither this attempt nor one before it, since the last that ended, changed the memory."""
        attempts = [self.attempt, *self._since_the_last_that_ended()]
        return all(item.touched_nothing for item in attempts)

    def _since_the_last_that_ended(self) -> list[Attempt]:
        """Earlier attempts at the same memory, the last first."""
        earlier = [item for item in self.attempts if item.end < self.attempt.begin and self.attempt.is_at(item)]
        return list(takewhile(lambda item: item.ended is None, reversed(earlier)))

    def _erase_before(self) -> Evidence | None:
        """An erase of the same memory that began in an earlier try, where this try was refused before it began one.

        Without it a mere refusal would read as if nothing had been touched.
        """
        if self.attempt.blocks or any(has_begun(item) for item in self.attempt.erases):
            return None
        since = self._since_the_last_that_ended()
        erase = next((one for item in since for one in reversed(item.erases) if has_begun(one)), None)
        if erase is None:
            return None
        said = "was accepted" if erase.nrc is None else f"ended with {erase.nrc:02X}"
        return evidence(erase, f"an erase {said}: memory may be partly erased")

    def _boot_only_after_restart(self) -> tuple[Exchange, str] | None:
        attempt = self.attempt
        start = self.story.start_after(attempt.end)
        later = next((item for item in self.attempts if item.begin > attempt.end), None)
        if attempt.ended is None or start is None or start.place[0] != attempt.end[0]:
            return None
        if later is not None and later.begin > start.place:
            return None
        mode, signs = mode_now(self.story, start.place)
        if mode is not Mode.BOOT or not signs:
            return None
        shown = next((sign for sign in reversed(signs) if sign.strong), signs[-1]).evidence
        exchange = self.record.exchange_at((shown.capture, shown.lines[0]))
        text = f"only the boot loader answers after the restart ({shown.text})"
        return (exchange or attempt.exchanges[-1]), text

    def _unfinished(self, checks: Sequence[RoutineCall]) -> str:
        """Why the attempt is not finished, in words; empty when it is."""
        attempt, account = self.attempt, self.attempt.account
        carried = _share(account, attempt.size)
        if attempt.ended is not None:
            return ""
        good = [call for call in checks if call.status is Status.GOOD and call.kind == "check"]
        if good and self._account_closes():
            return ""
        if any(self._is_before_the_next(call) for call in good) and self._is_partly_unseen():
            return ""
        why = f"; {attempt.closed_by}" if attempt.closed_by else ""
        if attempt.request is None and not attempt.blocks:
            erase = furthest(attempt.erases)
            told = told_erase(erase) if erase is not None else ""
            return f"{told}{' and' if self._is_erased() else ', and'} nothing was downloaded{self._but_earlier()}{why}"
        if not account.blocks:
            return f"the transfer was requested and {self._none_carried()}{why}"
        if account.is_unheard and not attempt.has_exit:
            return ""  # its end is the last byte, and none was recorded
        if attempt.exits and not self._module_went_on():
            return f"the transfer exit was not answered{why}"
        if self._account_closes() and self._module_went_on():
            return ""
        too_long = _refused_length(account.unanswered)
        return f"{too_long}the transfer reached {counted(account.blocks, 'block')}, {carried}{why}"

    def _none_carried(self) -> str:
        sent = len({item.asked[:2] for item in self.attempt.blocks})
        if sent:
            return f"{counted(sent, 'block')} sent, without an answer{self._but_earlier(since='')}"
        return f"no block was carried{self._but_earlier()}"

    def _but_earlier(self, since: str = " since") -> str:
        """What the last download in front of one that carried nothing did carry; empty where there is none."""
        judges = (_Judge(item, self.attempts, self.story, self.record) for item in reversed(self.attempts))
        earlier = (
            one.attempt
            for one in judges
            if one.attempt.end < self.attempt.begin
            and one.attempt.kind is not Kind.UPLOAD
            and one.attempt.account.blocks
            and not one._is_driver()
        )
        last = next(earlier, None)
        if last is None:
            return ""
        carried = f"{counted(last.account.blocks, 'block')}, {_share(last.account, last.size)}"
        return f"{since}; an earlier download carried {carried}"

    def _is_before_the_next(self, call: RoutineCall) -> bool:
        """No other attempt began in front of the check: behind one it is about what that one left."""
        later = [item.begin for item in self.attempts if item.begin > self.attempt.begin]
        return not later or call.exchange.begin < min(later)

    def _module_went_on(self) -> bool:
        """A step behind the attempt was accepted: the module took the end of the transfer. Reading is no step."""
        end = self.attempt.end
        return any(
            item.positive and item.capture == end[0] and (item.act not in LOOKING or self._has_restarted(item.begin))
            for item in self.story.after(end)
        )

    def _has_restarted(self, place: Place) -> bool:
        """Between the attempt and a place the module was seen to start."""
        start = self.story.start_after(self.attempt.end)
        return start is not None and start.place < place

    def _is_partly_unseen(self) -> bool:
        """The capture began inside it or lost frames of it, so that its end may have been there."""
        attempt = self.attempt
        if not self._is_asked():
            return True
        return any(
            item.doubt is Doubt.LOSS
            for capture in range(attempt.begin[0], attempt.end[0] + 1)
            for item in inside(attempt.begin, attempt.end, self.record.troubles[capture], self.story.link.channel)
        )

    def _account_closes(self) -> bool:
        attempt, account = self.attempt, self.attempt.account
        if account.problems or not self._is_asked() or not account.blocks or account.unanswered is not None:
            return False
        return attempt.transformed or attempt.size is None or attempt.size == account.carried

    def _may_be_no_request(self) -> bool:
        """No answer accepted it, and what it asks for was not carried: frames out of place make such requests."""
        attempt = self.attempt
        if attempt.request is None or attempt.request.positive or attempt.transformed or attempt.size is None:
            return False
        return attempt.size != attempt.account.carried

    def _problems(self) -> list[str]:
        """What keeps the account from closing or the end from being seen."""
        attempt, account = self.attempt, self.attempt.account
        problems = [*account.problems, *(seam.text for seam in self._seams if seam.is_open)]
        if not self._is_asked():
            problems.append("the beginning is not in the capture: which memory was meant, and how much, is not shown")
        elif attempt.request is not None and not attempt.request.positive:
            problems.append("the answer to the request is not in the capture")
        elif not attempt.transformed and attempt.size is not None and attempt.size != account.carried:
            problems.append(f"carried: {counted(account.carried, 'byte')}, {attempt.size:,} were asked for")
        if not account.seen_whole:
            problems += account.doubts
        if account.unanswered is not None:
            problems.append("the answer to the last block is not in the capture")
        if attempt.ended is None and attempt.has_exit:
            lacking = "the answer to the transfer exit" if attempt.exits else "the transfer exit"
            again = attempt.exits[-1].nrc if attempt.exits else None
            then = f"; sent again, it was refused as not due ({again:02X})" if again is not None else ""
            problems.append(f"{lacking} is not in the capture{then}")
        elif attempt.ended is None:
            problems.append("nothing shows its end: there is no exit, and the sizes cannot be compared")
        return problems

    def _finished(self, checks: Sequence[RoutineCall]) -> Outcome:
        proofs = []
        if self.attempt.kind is not Kind.UPLOAD:
            proofs = proofs_of(
                self.attempt, self.attempts, self.story, self.record, only_part=self._is_only_part()
            )  # fmt: skip
        if not self._is_asked():
            return self._without_beginning(proofs)
        problems = self._problems()
        if problems:
            proofs = [item for item in proofs if item.by_module and not self._may_be_no_request()]
        spoilt = [item for item in proofs if self._is_spoilt(item)]
        proofs = [item for item in proofs if item not in spoilt]
        done = _done(self.attempt)
        last = last_of_each(checks)
        unknown = [f"routine {call.said}: {call.text}" for call in last if call.status is Status.UNKNOWN]
        not_done = [
            f"the check {call.said} was not carried out: {call.exchange.refusal}"
            for call in last
            if call.status is Status.REFUSED and call.kind in CHECKS
        ]
        if not proofs:
            why = SPOILT if spoilt else self._why_not_proved()
            sure = Confidence.MEDIUM if unknown or not_done or spoilt else self._sure()
            because = (done, *problems, *unknown, why, *not_done)
            return Outcome(Word.UNPROVEN, sure, _all_evidence(spoilt), because, self._missing_proof(unknown))
        sure = max((item.confidence for item in proofs), key=(Confidence.LOW, Confidence.MEDIUM, Confidence.HIGH).index)
        seams = (seam.text for seam in self._seams if not seam.is_open)
        doubts = (*self.attempt.account.doubts, *seams, *not_done)
        if problems or doubts:
            sure = Confidence.MEDIUM
        texts = (done, *problems, *doubts, *(item.text for item in proofs))
        return Outcome(Word.CONFIRMED, sure, _all_evidence(proofs), tuple(dict.fromkeys(texts)))

    @cached_property
    def _seams(self) -> list[SaidOfSeam]:
        return list(said_of_seams(self.attempt, self.record))

    def _is_asked(self) -> bool:
        """The request for the transfer itself is in the capture."""
        return self.attempt.request is not None and bool(self.attempt.request.asked)

    def _without_beginning(self, proofs: Sequence[DownloadProof]) -> Outcome:
        """What a check says is about memory that nobody saw asked for: which, and how much, is not shown."""
        because = (_done(self.attempt), *self._problems(), *(item.text for item in proofs))
        wish = f"read {self._label()}'s software identification now, compare it with what was meant, and capture it"
        return Outcome(Word.UNPROVEN, Confidence.MEDIUM, _all_evidence(proofs), because, wish)

    def _is_spoilt(self, proof: DownloadProof) -> bool:
        """One lost frame in one part of a proof is enough: the parts prove only together."""
        return any(spoils(item, self.record.troubles, self.story.link.channel) for item in proof.evidence)

    def _why_not_proved(self) -> str:
        """What was read since, and why that proves nothing."""
        if self.attempt.kind is Kind.UPLOAD:
            return NOT_PROVED
        part = part_of(self.attempt, self.story, self.record)
        act = self.attempt.begin, self.attempt.end
        horizon = superseded_at(self.attempt, self.attempts)
        read = why_not_identified(part.name if part else None, act, horizon, self.story, self.record)
        return f"{NOT_PROVED}: {read}" if read else NOT_PROVED

    def _missing_proof(self, unknown: Sequence[str]) -> str:
        name = self._label()
        if unknown:
            return (
                f"a names file that says what the check's status means, or {name}'s identification read after a restart"
            )
        part = part_of(self.attempt, self.story, self.record)
        identifiers = telling_identifiers(part.name if part else None, self.story, self.record)
        numbers = f" ({said_identifiers(identifiers)})" if identifiers else ""
        return f"read {name}'s software identification{numbers} after an ignition cycle and capture it"

    def _file_without_data(self, request: Exchange) -> Outcome:
        text = "the file request was answered positively"
        if request.positive:
            return Outcome(Word.UNPROVEN, self._sure(), (), (text,), "list the directory afterwards and capture it")
        return Outcome(Word.INTERRUPTED, self._sure(), (evidence(request, "no answer"),), ("no final answer",))

    def _is_only_part(self) -> bool:
        """No other lasting part was downloaded to this module in the job."""
        rest = [
            item
            for item in self.attempts
            if item is not self.attempt and item.kind is not Kind.UPLOAD and (item.blocks or item.erases)
            and not item.same_thing(self.attempt)
        ]  # fmt: skip
        return all(_Judge(item, self.attempts, self.story, self.record)._is_driver() for item in rest)

    def _sure(self) -> Confidence:
        whole = self.attempt.request is not None or bool(self.attempt.erases)
        return Confidence.HIGH if whole else Confidence.MEDIUM


def _all_evidence(proofs: Sequence[DownloadProof]) -> tuple[Evidence, ...]:
    return tuple(dict.fromkeys(item for proof in proofs for item in proof.evidence))


def _done(attempt: Attempt) -> str:
    """What was carried, in words."""
    account = attempt.account
    if not account.blocks:
        return "no block of the transfer is in the capture"
    carried = f"{counted(account.blocks, 'block')}, {_share(account, attempt.size)}"
    if account.lost:
        carried += f" ({account.lost:,} of them not in the capture)"
    if not account.unseen:
        return f"{carried}, each answered positively"
    marks = [f"{item.asked[:2].hex(' ').upper()} ({_lines(item)})" for item in account.unseen]
    several = f" and {len(marks) - 1} more" if len(marks) > 1 else ""
    answered = f"{account.blocks - len(marks)} of {counted(account.blocks, 'block')} answered"
    return f"{carried}, {answered}: {marks[0]}{several} without an answer"


def _lines(exchange: Exchange) -> str:
    first, last = exchange.lines
    return f"line {first}" if first == last else f"lines {first}-{last}"


def _refused_length(block: Exchange | None) -> str:
    """The module had no room for the block: flow control overflow (ISO 15765-2:2016, 9.6.5 (M))."""
    request = block.request if block is not None else None
    if request is None or request.reason != OVERFLOW:
        return ""
    block_said = f"{request.data[:2].hex(' ').upper()}, {counted(request.length, 'byte')}"
    return f"the module refused the length of {block_said}, with flow control overflow (line {request.last_line}): "


def _share(account: Account, size: int | None) -> str:
    if account.is_unheard:
        return "whose bytes were not recorded"
    carried = account.carried
    if not size:
        return counted(carried, "byte")
    return f"{carried:,} of {counted(size, 'byte')} ({100 * carried / size:.1f} %)"


def _after_failure(label: str) -> str:
    return f"put the cause right, program {label} again from the programming session, and capture it to the end"
