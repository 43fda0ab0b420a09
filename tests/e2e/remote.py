"""A plant that is reached over TLS as well: by bearer token or by client certificate, of every role and
of a stranger."""
import hashlib
import http.client
import json
import shutil
import socket
import ssl
import subprocess
import sys

from oddloaf import Plant, free_port
from routes import ROLES


def openssl(*words):
    subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True)


class Remote(Plant):
    def __init__(self, binaries, config=None, **more):
        if not shutil.which("openssl"):
            print("openssl is not installed")
            sys.exit(77)
        super().__init__(binaries, config=config, **more)
        self.port = free_port()
        self.make_authority()
        self.certificate("server", "/CN=localhost", "subjectAltName=IP:127.0.0.1,DNS:localhost")
        tokens = {hashlib.sha256(f"token of {role}".encode()).hexdigest(): role for role in ROLES}
        tokens[hashlib.sha256(b"token of desk").hexdigest()] = {"role": "desk", "name": "Front desk"}
        (self.dir / "tokens.json").write_text(json.dumps(tokens))
        (self.dir / "tokens.json").chmod(0o600)
        self.config["tcp"] = {"listen": f"127.0.0.1:{self.port}",
                              **{name: str(self.dir / file) for name, file in (
                                  ("certificate", "server.pem"), ("key", "server.key"),
                                  ("client_ca", "ca.pem"), ("tokens", "tokens.json"))}}

    def make_authority(self, name="ca"):
        openssl("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout",
                self.dir / f"{name}.key", "-out", self.dir / f"{name}.pem", "-days", "30", "-subj", "/CN=Harrow Mill")

    def certificate(self, name, subject, extension="keyUsage=digitalSignature", days=30, authority="ca"):
        key, request, made = (self.dir / f"{name}.{end}" for end in ("key", "csr", "pem"))
        openssl("req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-keyout", key,
                "-out", request, "-subj", subject)
        (self.dir / "extension").write_text(extension + "\n")
        openssl("x509", "-req", "-in", request, "-CA", self.dir / f"{authority}.pem", "-CAkey", self.dir / f"{authority}.key",
                "-days", days, "-out", made, "-extfile", self.dir / "extension", "-CAcreateserial")
        key.chmod(0o600)

    def context(self, certificate=None):
        context = ssl.create_default_context(cafile=self.dir / "ca.pem")
        if certificate:
            context.load_cert_chain(self.dir / f"{certificate}.pem", self.dir / f"{certificate}.key")
        return context

    def tls(self, certificate=None, timeout=120, source=("127.0.0.1", 0)):
        """A connection with its handshake done."""
        raw = socket.create_connection(("127.0.0.1", self.port), timeout, source_address=source)
        return self.context(certificate).wrap_socket(raw, server_hostname="127.0.0.1")

    def by_token(self, role, timeout=120):
        connection = http.client.HTTPSConnection("127.0.0.1", self.port, timeout=timeout,
                                                 context=self.context())
        connection.token = f"token of {role}"
        return connection

    def by_certificate(self, role):
        """Of a stranger: one that the authority gave to somebody who is none of the roles."""
        name = f"client-{role}"
        if not (self.dir / f"{name}.pem").exists():
            self.certificate(name, f"/OU={role or 'visitors'}/CN={role or 'somebody'} of the mill")
        return http.client.HTTPSConnection("127.0.0.1", self.port, timeout=120, context=self.context(name))
