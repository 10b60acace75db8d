"""Certificates made on the spot by openssl: good ones, and each kind of bad one."""
import os
import ssl
import subprocess

LONG_AGO, AGO = "20200101000000Z", "20210101000000Z"
AHEAD, FAR_AHEAD = "20900101000000Z", "20950101000000Z"


def openssl(*args):
    done = subprocess.run(["openssl", *args], capture_output=True, text=True)
    if done.returncode != 0:
        raise RuntimeError(f"openssl {args[0]}: {done.stderr}")
    return done.stdout


class Authority:
    """Signs certificates; all its files lie in a folder of its own."""

    def __init__(self, folder):
        os.makedirs(folder)
        self.folder = folder
        self.path = os.path.join(folder, "ca.pem")
        self._key = os.path.join(folder, "ca.key")
        openssl("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
                "-nodes", "-days", "3650", "-subj", "/CN=test authority", "-keyout", self._key,
                "-out", self.path)
        with open(os.path.join(folder, "index"), "w"):
            pass
        with open(os.path.join(folder, "serial"), "w") as serial:
            serial.write("1000\n")

    def sign(self, name, usage="clientAuth", host=None, begin=AGO, end=AHEAD):
        """The paths of a certificate and its key."""
        path, key = (os.path.join(self.folder, name + end) for end in (".pem", ".key"))
        request, config = (os.path.join(self.folder, name + end) for end in (".csr", ".conf"))
        openssl("req", "-new", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
                "-nodes", "-subj", f"/CN={name}", "-keyout", key, "-out", request)
        with open(config, "w") as out:
            out.write(f"""[ca]
default_ca = own
[own]
database = {self.folder}/index
serial = {self.folder}/serial
new_certs_dir = {self.folder}
default_md = sha256
policy = any
unique_subject = no
[any]
commonName = supplied
[extensions]
extendedKeyUsage = {usage}
""" + (f"subjectAltName = {host}\n" if host else ""))
        openssl("ca", "-batch", "-notext", "-config", config, "-extensions", "extensions",
                "-startdate", begin, "-enddate", end, "-cert", self.path, "-keyfile", self._key,
                "-in", request, "-out", path)
        os.chmod(key, 0o600)
        return path, key


def context(ca=None, pair=None, newest=None, oldest=None):
    """How a client speaks TLS: it takes any daemon, so that what fails is the daemon's doing."""
    made = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    made.check_hostname = False
    made.verify_mode = ssl.CERT_NONE
    made.set_alpn_protocols(["h2"])
    if ca:
        made.load_verify_locations(ca)
    if pair:
        made.load_cert_chain(*pair)
    if newest:
        made.set_ciphers("ALL:@SECLEVEL=0")
        made.minimum_version = oldest or newest
        made.maximum_version = newest
    return made


def fingerprint(path):
    """SHA-256 of a certificate, as openssl shows it."""
    return openssl("x509", "-in", path, "-noout", "-fingerprint",
                   "-sha256").strip().split("=")[1]
