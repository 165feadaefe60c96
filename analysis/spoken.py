"""What each link of a job speaks, judged once from everything that was said on it in any capture.

Before this is known nothing is read: the same bytes mean other things by dialect (``canlog.services.dialects``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from canlog.isotp.messages import Message
from canlog.services.dialects import DialectGuess, DialectJudge


def judge_links(messages: Iterable[Message]) -> Mapping[str, DialectGuess]:
    """The dialect of each link that has a complete message, by the key of the link."""
    judges: defaultdict[str, DialectJudge] = defaultdict(DialectJudge)
    for message in messages:
        if message.complete:
            judges[message.link.key].see(message.direction.value, message.data)
    return {key: judge.guess() for key, judge in judges.items()}
