"""The certificate of the server on the local network: made at first use, kept, renewed.

Nobody vouches for it, so a browser asks once; its fingerprint in the terminal tells whether it is
the right one. The key is for the owner's eyes alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from conewright.errors import BadInputError
from conewright.whole_file import write_whole

__all__ = ["Certificate", "certificate_in"]

LIFETIME = timedelta(days=397)
"""Longer ones are refused by some browsers."""
RENEWED = timedelta(days=14)
"""Before its end."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """Where certificate and key are, and the SHA-256 of the certificate as browsers show it."""

    file: Path
    key_file: Path
    fingerprint: str


def certificate_in(folder: Path, names: Sequence[str]) -> Certificate:
    """Return the certificate kept in a folder; made anew where it lacks a name or is about to end.

    Args:
        folder: where it is kept; made where it is not there.
        names: host names and addresses that it must hold for.

    Raises:
        BadInputError: the folder cannot be read or written.

    """
    file, key_file = folder / "lan-certificate.pem", folder / "lan-key.pem"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        found = _usable(file, key_file, names)
        if found is None:
            key = ec.generate_private_key(ec.SECP256R1())
            found = _made(key, names)
            pkcs8 = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
            pem = found.public_bytes(Encoding.PEM)
            # From its first moment nobody else may read the key.
            write_whole({key_file: pkcs8, file: pem}, private=True)
        # Somebody may have copied the folder since it was written.
        key_file.chmod(0o600)
    except OSError as error:
        raise BadInputError(
            f"{error.filename or folder}: the certificate for the local network cannot be kept "
            f"there ({error.strerror})"
        ) from error
    return Certificate(file, key_file, found.fingerprint(SHA256()).hex(":").upper())


def _usable(file: Path, key_file: Path, names: Sequence[str]) -> x509.Certificate | None:
    """Return the certificate that is there, None where it does not serve."""
    try:
        found = x509.load_pem_x509_certificate(file.read_bytes())
        key = load_pem_private_key(key_file.read_bytes(), password=None)
        held = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (FileNotFoundError, ValueError, TypeError, x509.ExtensionNotFound):
        return None
    fits = key.public_key() == found.public_key() and set(_general(names)) <= set(held)
    lasts = found.not_valid_after_utc - datetime.now(UTC) > RENEWED
    return found if fits and lasts else None


def _made(key: ec.EllipticCurvePrivateKey, names: Sequence[str]) -> x509.Certificate:
    """Return a certificate that vouches for itself, and for nothing else."""
    ours = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Conewright on this computer")])
    # A clock that runs a little behind must not find it too young.
    start = datetime.now(UTC) - timedelta(hours=1)
    usage = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    return (
        x509.CertificateBuilder()
        .subject_name(ours)
        .issuer_name(ours)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(start + LIFETIME)
        .add_extension(x509.SubjectAlternativeName(list(_general(names))), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=False)
        .sign(key, SHA256())
    )


def _general(names: Sequence[str]) -> Iterator[x509.GeneralName]:
    """Yield names as a certificate writes them."""
    for name in dict.fromkeys(names):
        try:
            yield x509.IPAddress(ip_address(name))
        except ValueError:
            yield x509.DNSName(name)
