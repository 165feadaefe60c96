"""Two answers to one request of one module: which of them is true the recording cannot say.

Two modules may share an address, or frames of another moment may have got in (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from analysis.exchanges import Exchange

#: A second answer that comes later belongs to something else (our choice, above P2).
SOON_NS = 100_000_000


def second_answers(exchanges: Iterable[Exchange]) -> Iterator[tuple[Exchange, Exchange]]:
    """An answer, and another one to the same service that came at once, says something else, and nothing asked for.

    Args:
        exchanges: of one capture, in order.
    """
    last: dict[str, Exchange] = {}
    for exchange in exchanges:
        first = last.get(exchange.link.key)
        last[exchange.link.key] = exchange
        if exchange.request is not None or first is None or first.request is None or first.functional:
            continue
        is_soon = 0 <= exchange.begin_ns - first.end_ns < SOON_NS and exchange.capture == first.capture
        is_answered = first.response is not None and first.service == exchange.service
        if is_soon and is_answered and first.answered != exchange.answered:
            yield first, exchange
