"""Only the boot loader answers.

What is seen: the module answers like a boot loader: it names its boot software or refuses what an application
knows.
What it can mean: It has no valid application; or a part of it is missing.
How to tell it from look-alikes: a simple module that knows few identifiers: it also opens the extended session; a
new module: no erase and no failed download lies before it
What to try: program it again from the session on, not from where it stopped; read its identification afterwards and
capture it
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the last signs of the boot loader. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.transfers import parts, routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.modules import Now
from analysis.operations.model import Kind
from analysis.story import Story
from analysis.words import Confidence, Severity, Word
from canlog.services.traits import Act

#: What is left where the module's own checks were good.
GOOD_ALL_THE_SAME = (
    "the application starts and falls back, although its checks were good; a part or a step that only the service "
    "information names is missing; the file is for other hardware"
)


@check("boot-mode-only", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for module in ctx.modules:
        story = module.story
        if module.now is not Now.BOOT or _is_at_work(ctx, story):
            continue
        erased = any(call.kind == "erase" for call in routine_calls(ctx, story)) or bool(parts(ctx, story))
        text = (
            "memory worked on in this job, no application runs. Usually it can be programmed again."
            if erased
            else "no erase of it is in these captures. It was lost before, or the module is new, which is normal."
        )
        sure = Confidence.HIGH if erased or len(module.evidence) > 1 else Confidence.MEDIUM
        step = f"Leave {story.label} powered, with a support unit, until it is programmed again"
        causes = GOOD_ALL_THE_SAME if _was_checked_good(ctx, story) else ""
        yield Seen(sure, module.evidence, f"{story.label}: {text}", step=step, causes=causes)


def _was_checked_good(ctx: Context, story: Story) -> bool:
    """Every part that was carried was checked by the module and found good."""
    carried = [item for item in ctx.standing(Kind.DOWNLOAD) if item.link.key == story.link.key and item.part]
    return bool(carried) and all(item.details["checked"] for item in carried)


def _is_at_work(ctx: Context, story: Story) -> bool:
    """The last of it is an open transfer: it is in its boot loader because the tester asked for that."""
    last = [item for item in ctx.own(story) if item.act is not Act.TESTER_PRESENT][-1]
    return any(item.outcome.word is Word.INTERRUPTED and last.number in item.exchanges for item in parts(ctx, story))
