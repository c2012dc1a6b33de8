"""A certificate of our own for one address of this machine, made anew when that changes."""

from __future__ import annotations

import datetime as dt
import ipaddress
import os
import ssl
from pathlib import Path

from listen.saving import save_whole

_VALID_DAYS = 397
"""Phones refuse longer ones."""
_RENEW_DAYS = 30


def server_context(folder: Path, address: str) -> ssl.SSLContext:
    """TLS for `address`, with the certificate kept in `folder`; a new one where it must be."""
    pem = folder / "certificate.pem"
    if not _still_good(pem, address):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        _write_private(pem, _new_pem(address))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.load_cert_chain(pem)
    return context


def fingerprint(folder: Path) -> str:
    """SHA-256 of the certificate, in pairs, to compare with what a phone shows."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    certificate = x509.load_pem_x509_certificate((folder / "certificate.pem").read_bytes())
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def _still_good(pem: Path, address: str) -> bool:
    from cryptography import x509

    try:
        certificate = x509.load_pem_x509_certificate(pem.read_bytes())
        names = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    except (OSError, ValueError, x509.ExtensionNotFound):
        return False
    soon = dt.datetime.now(dt.UTC) + dt.timedelta(days=_RENEW_DAYS)
    addresses = names.value.get_values_for_type(x509.IPAddress)
    return ipaddress.ip_address(address) in addresses and certificate.not_valid_after_utc > soon


def _new_pem(address: str) -> bytes:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Toothbeat on this computer")])
    now = dt.datetime.now(dt.UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=_VALID_DAYS - 1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address))]),
            critical=False,
        )
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
    return key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ) + certificate.public_bytes(serialization.Encoding.PEM)


def _write_private(path: Path, content: bytes) -> None:
    """Write for the owner's eyes only, from the first byte on."""
    path.unlink(missing_ok=True)
    os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    save_whole(path, content)
