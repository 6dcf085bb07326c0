"""SFTP for fsspec, which speaks only to servers whose keys are known.

fsspec's own takes any key that a server shows, so that whoever sits between could pass for it.
"""

import paramiko
from fsspec.implementations.sftp import SFTPFileSystem


class KnownSftp(SFTPFileSystem):
    """A server that is listed in ``~/.ssh/known_hosts``, with its key."""

    protocol = ("sftp",)

    def _connect(self) -> None:
        self.client = paramiko.SSHClient()
        self.client.load_system_host_keys()
        self.client.set_missing_host_key_policy(paramiko.RejectPolicy())
        self.client.connect(self.host, **self.ssh_kwargs)
        self.ftp = self.client.open_sftp()
