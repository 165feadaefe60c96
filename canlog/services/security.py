"""Unlocking: services 27 (seed and key), 29 (authentication) and 84 (secured data transmission).

Seeds, keys, certificates and proofs are secrets: ``SECRET_FIELDS`` names the fields that a report masks.

Source: ISO 14229-1:2020, 10.4, 10.6, 16 (M); layouts agree with udsoncan 1.26.1 (27, 29) and scapy 2.8.0.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from canlog.names.ranges import MAKER, RESERVED, SUPPLIER, Code, Owner, RangeTable, singles
from canlog.services.layout import (
    Cursor,
    Item,
    Layout,
    choose,
    decimal,
    named,
    octets,
    request,
    response,
    rest,
    run,
    sub_function,
    sub_function_echo,
    u8,
    u16,
    with_length,
)


def _level(number: int) -> Code:
    """Odd asks for a seed, even sends the key of the level below it."""
    what = f"requestSeed level {number:02X}" if number % 2 else f"sendKey level {number - 1:02X}"
    if 0x5F <= number <= 0x60:
        return Code(f"{what}, pyrotechnic end of life (ISO 26021)")
    owner = Owner.SUPPLIER if number >= 0x61 else Owner.STANDARD
    return Code(what, owner)


#: Total over 00-7F. 43-5E are reserved, 5F/60 belong to ISO 26021, 61-7E to the system supplier.
SECURITY_LEVELS: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *((number, number, _level(number)) for number in range(0x01, 0x43)),
        (0x43, 0x5E, RESERVED),
        *((number, number, _level(number)) for number in range(0x5F, 0x7F)),
        (0x7F, 0x7F, RESERVED),
    ],
)

#: Total over 00-7F (edition 2020).
AUTHENTICATION_TASKS: Final = RangeTable(
    0x7F,
    [
        *singles(
            {
                0x00: "deAuthenticate",
                0x01: "verifyCertificateUnidirectional",
                0x02: "verifyCertificateBidirectional",
                0x03: "proofOfOwnership",
                0x04: "transmitCertificate",
                0x05: "requestChallengeForAuthentication",
                0x06: "verifyProofOfOwnershipUnidirectional",
                0x07: "verifyProofOfOwnershipBidirectional",
                0x08: "authenticationConfiguration",
            }
        ),
        (0x09, 0x7F, RESERVED),
    ],
)

#: Total over 00-FF: what the module says about an authentication step.
AUTHENTICATION_RETURN_VALUES: Final = RangeTable(
    0xFF,
    [
        *singles(
            {
                0x00: "requestAccepted",
                0x01: "generalReject",
                0x02: "authenticationConfiguration APCE",
                0x03: "authenticationConfiguration ACR with asymmetric cryptography",
                0x04: "authenticationConfiguration ACR with symmetric cryptography",
            }
        ),
        (0x05, 0x0F, RESERVED),
        *singles(
            {
                0x10: "deAuthentication successful",
                0x11: "certificateVerified, ownershipVerificationNecessary",
                0x12: "ownershipVerified, authenticationComplete",
                0x13: "certificateVerified",
            }
        ),
        (0x14, 0x9F, RESERVED),
        (0xA0, 0xCF, MAKER),
        (0xD0, 0xFE, SUPPLIER),
        (0xFF, 0xFF, RESERVED),
    ],
)

#: Fields that hold secrets of the vehicle or its maker.
SECRET_FIELDS: Final = frozenset(
    {
        "security_seed", "security_key", "security_access_data_record", "certificate_client", "challenge_client",
        "proof_of_ownership_client", "ephemeral_public_key_client", "certificate_data", "additional_parameter",
        "challenge_server", "certificate_server", "proof_of_ownership_server", "ephemeral_public_key_server",
        "session_key_info", "needed_additional_parameter", "signature",
    }
)  # fmt: skip


def seed_or_key(seed: Sequence[Item], key: Sequence[Item]) -> Item:
    """Items of an odd (seed) or even (key) level."""

    def read(cursor: Cursor) -> None:
        run(seed if cursor.size("sub_function") & 1 else key, cursor)

    return read


_client_certificate = (
    u8("communication_configuration"), *with_length("certificate_client"), *with_length("challenge_client"),
)  # fmt: skip
_client_proof = (
    octets("algorithm_indicator", 16),
    *with_length("proof_of_ownership_client"),
    *with_length("challenge_client"),
    *with_length("additional_parameter"),
)
_server_proof = (octets("algorithm_indicator", 16), *with_length("session_key_info"))

#: The shape of edition 2020; before, everything behind the service identifier was one encrypted record.
_secured = (
    u16("administrative_parameter"), u8("signature_encryption_calculation"),
    u16("signature_length", says=decimal), u16("anti_replay_counter", says=decimal),
)  # fmt: skip

LAYOUTS: Final = {
    request(0x27): Layout(
        sub_function(SECURITY_LEVELS.name),
        seed_or_key([rest("security_access_data_record")], [rest("security_key", least=1)]),
    ),
    response(0x27): Layout(*sub_function_echo(SECURITY_LEVELS.name), seed_or_key([rest("security_seed", least=1)], [])),
    request(0x29): Layout(
        sub_function(AUTHENTICATION_TASKS.name),
        choose(
            "sub_function",
            {
                0x00: [],
                0x01: _client_certificate,
                0x02: _client_certificate,
                0x03: [*with_length("proof_of_ownership_client"), *with_length("ephemeral_public_key_client")],
                0x04: [u16("certificate_evaluation_id"), *with_length("certificate_data")],
                0x05: [u8("communication_configuration"), octets("algorithm_indicator", 16)],
                0x06: _client_proof,
                0x07: _client_proof,
                0x08: [],
            },
            [rest("authentication_record")],
        ),
    ),
    response(0x29): Layout(
        *sub_function_echo(AUTHENTICATION_TASKS.name),
        u8("return_value", says=named(AUTHENTICATION_RETURN_VALUES.name)),
        choose(
            "sub_function",
            {
                0x00: [],
                0x01: [*with_length("challenge_server"), *with_length("ephemeral_public_key_server")],
                0x02: [
                    *with_length("challenge_server"),
                    *with_length("certificate_server"),
                    *with_length("proof_of_ownership_server"),
                    *with_length("ephemeral_public_key_server"),
                ],
                0x03: with_length("session_key_info"),
                0x04: [],
                0x05: [
                    octets("algorithm_indicator", 16),
                    *with_length("challenge_server"),
                    *with_length("needed_additional_parameter"),
                ],
                0x06: _server_proof,
                0x07: [
                    octets("algorithm_indicator", 16),
                    *with_length("proof_of_ownership_server"),
                    *with_length("session_key_info"),
                ],
                0x08: [],
            },
            [rest("authentication_record")],
        ),
    ),
    # The signature stands at the end, so its place follows from its length: it stays inside the record.
    request(0x84): Layout(*_secured, rest("secured_record")),
    response(0x84): Layout(*_secured, rest("secured_record")),
}
