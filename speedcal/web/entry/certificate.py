"""A certificate for the shop's own devices, by an authority that can vouch for nothing else and has lost its key."""

from __future__ import annotations

import contextlib
import ipaddress
import os
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from speedcal.web.entry.listen import own_address
from speedcal.web.settings import Network, ServiceError, Settings, is_loopback

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

DAYS = 800
"""Telephones take a certificate for 825 days at the most (from memory); the authority ends with it."""
_LOCAL_ADDRESSES = ("127.0.0.1", "::1")
_SKEW = timedelta(hours=12)
"""Devices whose clock is a little late take it at once."""
_TOLD_BEFORE = timedelta(days=21)


@dataclass(frozen=True, slots=True)
class Authority:
    """Who signs, with the key that signs; the key is never written anywhere."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey


@dataclass(frozen=True, slots=True)
class Facts:
    """What is shown of the certificate in use."""

    expires: float
    names: tuple[str, ...]
    fingerprint: str
    """SHA-256 of the authority for people to compare; empty when it is not of our making."""
    renew_from: float
    """When its end is told as something to do: three weeks before, or a tenth of its life where that is less."""


def names_of(settings: Settings) -> tuple[str, ...]:
    """Return the names and addresses under which devices reach the service.

    Raises
    ------
    ServiceError
        Only this machine does, which needs no certificate.
    """
    names = [name.strip("[]") for name in settings.allowed_hosts]
    if settings.listens_everywhere and (own := own_address()):
        names.append(own)
    others = tuple(dict.fromkeys(name for name in names if not is_loopback(name)))
    if not others:
        raise ServiceError("certificate_for_nobody")
    return (*others, "localhost", *_LOCAL_ADDRESSES)


def make_certificate(settings: Settings, now: datetime) -> tuple[str, ...]:
    """Write a certificate, its key and its authority into the data folder and return the names it is for.

    Raises
    ------
    ServiceError
        There is nobody to make it for, or the folder cannot be written.
    """
    from cryptography.hazmat.primitives import serialization as form

    names = names_of(settings)
    authority = make_authority(names, now)
    certificate, key = sign(authority, names, now)
    private = key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    pair, folder = settings.made_pair, settings.made_authority.parent
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        _write(pair[1], private)
        _write(pair[0], certificate.public_bytes(form.Encoding.PEM))
        _write(settings.made_authority, authority.certificate.public_bytes(form.Encoding.DER))
    except OSError as error:
        raise ServiceError("data_folder_unusable", source=str(folder), reason=error.strerror) from None
    return names


def make_authority(names: tuple[str, ...], now: datetime) -> Authority:
    """Return an authority that can vouch for these names and addresses and for nothing beside or above them."""
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    permitted = [_general(name, is_range=True) for name in names]
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, f"speedcal on {names[0]}, {now:%Y-%m-%d}"[:64])])
    builder = _builder(name, name, key, now)
    builder = builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    builder = builder.add_extension(_usage(signs_certificates=True), critical=True)
    builder = builder.add_extension(x509.NameConstraints(permitted, None), critical=True)
    return Authority(_signed(builder, key), key)


def sign(
    authority: Authority, names: tuple[str, ...], now: datetime
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    """Return a certificate of a server with these names and addresses, and its key."""
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, names[0][:64])])
    identifier = x509.SubjectKeyIdentifier.from_public_key(authority.key.public_key())
    builder = _builder(name, authority.certificate.subject, key, now)
    for extension, is_critical in (
        (x509.BasicConstraints(ca=False, path_length=None), True),
        (_usage(signs_certificates=False), True),
        (x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), False),
        (x509.SubjectAlternativeName([_general(one) for one in names]), False),
        (x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), False),
    ):
        builder = builder.add_extension(extension, critical=is_critical)
    return _signed(builder, authority.key), key


def facts_of(settings: Settings) -> Facts | None:
    """Return what is known of the certificate in use, or None where there is no https."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes

    if settings.tls_pair is None:
        return None
    certificate = x509.load_pem_x509_certificate(settings.tls_pair[0].read_bytes())
    try:
        found = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        names = tuple(str(one.value) for one in found)
    except x509.ExtensionNotFound:
        names = ()
    fingerprint = ""
    if settings.uses_made_certificate:
        authority = x509.load_der_x509_certificate(settings.made_authority.read_bytes())
        fingerprint = authority.fingerprint(hashes.SHA256()).hex(":").upper()
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    renew_from = ends - min(_TOLD_BEFORE, (ends - begins) / 10)
    return Facts(ends.timestamp(), names, fingerprint, renew_from.timestamp())


def _builder(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime
) -> x509.CertificateBuilder:
    from cryptography import x509

    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _SKEW)
        .not_valid_after(now + timedelta(days=DAYS))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _signed(builder: x509.CertificateBuilder, key: ec.EllipticCurvePrivateKey) -> x509.Certificate:
    from cryptography.hazmat.primitives import hashes

    return builder.sign(key, hashes.SHA256())


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _general(name: str, *, is_range: bool = False) -> x509.GeneralName:
    """Return a name or an address as certificates write it; an authority writes an address as a range of one."""
    from cryptography import x509

    with contextlib.suppress(ValueError):
        address: Network | ipaddress.IPv4Address | ipaddress.IPv6Address
        address = ipaddress.ip_network(name) if is_range else ipaddress.ip_address(name)
        return x509.IPAddress(address)
    try:
        return x509.DNSName(name.encode("idna").decode("ascii"))
    except UnicodeError:
        raise ServiceError("certificate_name_unusable", found=name) from None


def _write(path: Path, content: bytes) -> None:
    """Put a file in place in one step, readable by its owner only."""
    made = path.with_suffix(".new")
    made.unlink(missing_ok=True)
    made.touch(mode=0o600)
    made.write_bytes(content)
    os.replace(made, path)
