"""Supply voltage, speed and engine from a DBC file (cantools), the description of the messages on a bus.

Multiplexed signals and floats are left out. Ids are taken as they are written.
"""

from __future__ import annotations

import re
import warnings
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Final

from canlog.errors import SheetError
from canlog.names.signals import Quantity, SignalName, quantity_of, running_states
from canlog.names.tables import Names

if TYPE_CHECKING:
    from cantools.database.can import Message, Signal

HINT: Final = "a DBC file is text with lines like: BO_ 960 Supply: 8 Node"
_LONGEST_REASON: Final = 200


def load_dbc(path: Path) -> Names:
    """The signals of a DBC file that tell of supply, speed and engine.

    Raises:
        SheetError: it cannot be read, cantools is not installed, or the file is damaged; names the line.
    """
    try:
        import cantools
        import textparser  # what cantools reads with
        from cantools.database.can import Database
    except ImportError as error:
        raise SheetError(f"{path}: a DBC file needs cantools", hint="pip install 'canlog[names]'") from error
    database = Database(strict=False)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            database.add_dbc_string(_text(path))
    except (
        cantools.Error,
        textparser.Error,
        ValueError,
        LookupError,
        TypeError,
        AttributeError,
        ArithmeticError,
        RecursionError,
    ) as error:
        raise SheetError(f"{path}{_where(error)}", hint=HINT) from error
    found = (_signal(message, signal) for message in database.messages for signal in message.signals)
    return Names(signals=tuple(filter(None, found)), files=(str(path),), is_description=True)


def _text(path: Path) -> str:
    content = path.read_bytes()
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace")  # as most of these files are written


def _where(error: Exception) -> str:
    """``:12: what is wrong``."""
    reason = " ".join(str(error).split())[:_LONGEST_REASON] or type(error).__name__
    match = re.search(r"at line (\d+), column (\d+)", reason)
    return f":{match[1]}: {reason}" if match else f": {reason}"


def _signal(message: Message, signal: Signal) -> SignalName | None:
    unit = signal.unit or ""
    is_plain = signal.multiplexer_ids is None and not signal.is_float and not signal.is_multiplexer
    quantity = quantity_of(signal.name, unit) if is_plain else None
    texts = {int(raw): str(text) for raw, text in (signal.choices or {}).items()}
    states = running_states(texts, signal.length) if quantity is Quantity.RUNNING else ()
    if quantity is None or (quantity is Quantity.RUNNING and not states):
        return None
    has_range = signal.minimum is not None and signal.maximum is not None and signal.minimum < signal.maximum
    return SignalName(
        can_id=message.frame_id,
        extended=message.is_extended_frame,
        name=f"{message.name}.{signal.name}",
        start=signal.start,
        length=signal.length,
        big_endian=signal.byte_order == "big_endian",
        signed=signal.is_signed,
        scale=Decimal(str(signal.scale)),
        offset=Decimal(str(signal.offset)),
        unit=unit,
        minimum=Decimal(str(signal.minimum)) if has_range else None,
        maximum=Decimal(str(signal.maximum)) if has_range else None,
        quantity=quantity,
        states=states,
    )
