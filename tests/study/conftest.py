"""A real cluster on this machine's loopback: a scheduler and workers, each a process of its own."""

import datetime
import ipaddress

import pytest
from clusters import start_cluster


@pytest.fixture(scope="session")
def cluster(tmp_path_factory):
    """The address of a scheduler that has two workers of one thread."""
    address, end = start_cluster(tmp_path_factory.mktemp("cluster"))
    yield address
    end()


@pytest.fixture(scope="session")
def tls_files(tmp_path_factory):
    """An authority's certificate, and a certificate it signed with its key, as keyword arguments of cluster_executor."""
    return make_certificates(tmp_path_factory.mktemp("tls"))


@pytest.fixture
def strangers_files(tmp_path):
    """As `tls_files`, but by another authority."""
    return make_certificates(tmp_path)


def make_certificates(folder):
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    now = datetime.datetime.now(datetime.UTC)

    def certificate(name, issuer, key, signer, authority):
        return (
            x509.CertificateBuilder()
            .subject_name(name)
            .issuer_name(issuer)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now - datetime.timedelta(hours=1))
            .not_valid_after(now + datetime.timedelta(days=1))
            .add_extension(x509.BasicConstraints(ca=authority, path_length=None), critical=True)
            .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False)
            .sign(signer, hashes.SHA256())
        )

    keys = [ec.generate_private_key(ec.SECP256R1()) for _ in range(2)]
    names = [x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)]) for name in ("cable-car authority", "cable-car cluster")]
    files = {name: folder / f"{name}.pem" for name in ("tls_ca", "tls_cert", "tls_key")}
    pem = serialization.Encoding.PEM
    files["tls_ca"].write_bytes(certificate(names[0], names[0], keys[0], keys[0], True).public_bytes(pem))
    files["tls_cert"].write_bytes(certificate(names[1], names[0], keys[1], keys[0], False).public_bytes(pem))
    plain = serialization.NoEncryption()
    files["tls_key"].write_bytes(keys[1].private_bytes(pem, serialization.PrivateFormat.PKCS8, plain))
    return files


@pytest.fixture(scope="session")
def tls_cluster(tmp_path_factory, tls_files):
    """The address of a scheduler with a worker that talk TLS only; the files are in `tls_files`."""
    options = [
        f"--{option}={tls_files[name]}"
        for option, name in (("tls-ca-file", "tls_ca"), ("tls-cert", "tls_cert"), ("tls-key", "tls_key"))
    ]
    address, end = start_cluster(tmp_path_factory.mktemp("tls_cluster"), *options, protocol="tls", workers=1)
    yield address
    end()
