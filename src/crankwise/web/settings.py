"""How the server is run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LOOPBACK: Final = ("127.0.0.1", "::1", "localhost")
PASS_PHRASE_VARIABLE: Final = "CRANKWISE_PASS_PHRASE"  # noqa: S105  the name of a variable
MOST_UPLOAD_BYTES: Final = 4_000_000_000


@dataclass(frozen=True, slots=True)
class Settings:
    """How the server is run.

    Attributes
    ----------
    store : str or None
        Folder or URL as for :func:`crankwise.store.open_store`.
    host : str
        Address to listen on; anything but loopback needs a pass-phrase.
    port : int
    most_upload_bytes : int
        A larger recording is refused.
    names : tuple of str
        Further host names under which browsers may ask for pages.
    watch : str or None
        Folder that is watched meanwhile.
    watch_polls : bool
        It lies on a network share, which tells of no changes.
    """

    store: str | None = None
    host: str = "127.0.0.1"
    port: int = 8720
    most_upload_bytes: int = MOST_UPLOAD_BYTES
    names: tuple[str, ...] = ()
    watch: str | None = None
    watch_polls: bool = False

    @property
    def is_loopback(self) -> bool:
        """Whether only this computer reaches it."""
        return self.host in LOOPBACK

    @property
    def needs_sign_in(self) -> bool:
        """Whether visitors have to sign in: others reach it, directly or under a further name."""
        return not self.is_loopback or bool(self.names)
