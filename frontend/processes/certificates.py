"""Certificates for TLS: those given are checked, and one is made for trying things out at home."""

from __future__ import annotations

import datetime as dt
import ipaddress
import os
import ssl
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from frontend.installation.refusal import InstallationError

__all__ = ["certificate_fingerprint", "make_own_certificate", "refuse_unfit_certificate"]

_VALID_DAYS = 90
_RENEW_DAYS = 14


def refuse_unfit_certificate(certificate: Path, key: Path) -> None:
    """Raise an error with the remedy when a certificate and key cannot be served."""
    for path, option in ((certificate, "--certificate"), (key, "--key")):
        if not path.is_file():
            raise InstallationError(f"{option} {path} is not a file: give the path of a PEM file.")
    if "BEGIN PRIVATE KEY" not in key.read_text(encoding="ascii", errors="replace"):
        raise InstallationError(
            f"{key} is not an unencrypted PKCS #8 key: convert it with openssl pkcs8 -topk8 -nocrypt -in {key} "
            f"-out {key.with_suffix('.pkcs8.pem')} and give that file."
        )
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except (ssl.SSLError, ValueError) as problem:
        raise InstallationError(
            f"{certificate} and {key} do not belong together or are damaged ({problem}): give the certificate "
            "(PEM, with its chain) and the key it was issued for."
        ) from problem
    loaded = x509.load_pem_x509_certificate(certificate.read_bytes())
    if loaded.not_valid_after_utc < dt.datetime.now(dt.UTC):
        raise InstallationError(
            f"{certificate} expired on {loaded.not_valid_after_utc:%Y-%m-%d}: browsers refuse it; renew it and start "
            "again."
        )


def make_own_certificate(folder: Path, *, hosts: list[str]) -> tuple[Path, Path]:
    """Return a certificate and key for some hosts, signed by nobody else; made anew when needed."""
    certificate, key = folder / "own_certificate.pem", folder / "own_key.pem"
    if _is_good_for(certificate, key, hosts):
        return certificate, key
    folder.mkdir(parents=True, exist_ok=True)
    private_key = ec.generate_private_key(ec.SECP256R1())
    now = dt.datetime.now(dt.UTC)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, hosts[0][:64])])
    built = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private_key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(hours=1))
        .not_valid_after(now + dt.timedelta(days=_VALID_DAYS))
        .add_extension(x509.SubjectAlternativeName([_general_name(host) for host in hosts]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(private_key, hashes.SHA256())
    )
    key.unlink(missing_ok=True)
    descriptor = os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "wb") as key_file:
        key_file.write(
            private_key.private_bytes(
                serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
            )
        )
    certificate.write_bytes(built.public_bytes(serialization.Encoding.PEM))
    return certificate, key


def certificate_fingerprint(certificate: Path) -> str:
    """Return the SHA-256 of a certificate as browsers show it."""
    digest = x509.load_pem_x509_certificate(certificate.read_bytes()).fingerprint(hashes.SHA256())
    return ":".join(f"{byte:02X}" for byte in digest)


def _is_good_for(certificate: Path, key: Path, hosts: list[str]) -> bool:
    if not (certificate.is_file() and key.is_file()):
        return False
    loaded = x509.load_pem_x509_certificate(certificate.read_bytes())
    if loaded.not_valid_after_utc < dt.datetime.now(dt.UTC) + dt.timedelta(days=_RENEW_DAYS):
        return False
    names = loaded.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    return list(names) == [_general_name(host) for host in hosts]


def _general_name(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host.strip("[]")))
    except ValueError:
        return x509.DNSName(host)
