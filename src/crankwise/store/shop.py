"""What a workshop keeps about itself; what is replaced or taken away stays recorded."""

from __future__ import annotations

import hashlib
import re
import secrets
from datetime import UTC, datetime
from typing import Final

from sqlalchemy import func, select

from crankwise.drive.engine_file import parse_engine, shipped
from crankwise.errors import NotFoundError, UsageError
from crankwise.judge.policy import load_policy, parse_policy
from crankwise.model.engine import Engine
from crankwise.model.policy import Policy
from crankwise.model.shop import KeptText, Key, Logo, Profile
from crankwise.store import codec
from crankwise.store.database import Database
from crankwise.store.tables import ShopRow

_PROFILE: Final = "profile"
_LOGO: Final = "logo"
_ENGINE: Final = "engine"
_POLICY: Final = "policy"
_KEY: Final = "key"
_PASS_PHRASE: Final = "pass-phrase"  # noqa: S105  the kind of row, no secret
_LOGO_TYPES: Final = ("image/png", "image/jpeg", "image/svg+xml")
_NO_ENGINE_NAME: Final = re.compile(r"[/\\?#%;\x00-\x1f\x7f]|^\.+$|^new$")
_MOST_ENGINE_NAME: Final = 100
_MOST_LOGO_BYTES: Final = 512_000
_KEY_BYTES: Final = 32


class Shop:
    """Profile, logo, engine files, policy and keys of the workshops that share a store."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def profile(self) -> Profile:
        """Return the profile; one of defaults until one was kept."""
        kept = self._newest(_PROFILE).get("")
        return codec.load(kept.text, Profile) if kept else Profile()

    def keep_profile(self, profile: Profile) -> None:
        """Keep a profile; it counts from now on."""
        self._keep(_PROFILE, "", codec.dump(profile).encode())

    def logo(self) -> Logo | None:
        """Return the logo, if there is one."""
        with self._database.read() as session:
            row = session.scalars(
                select(ShopRow).where(ShopRow.kind == _LOGO).order_by(ShopRow.id.desc()).limit(1)
            ).first()
            return Logo(row.name, bytes(row.body)) if row and row.body else None

    def keep_logo(self, logo: Logo | None) -> None:
        """Keep a logo, or take it away.

        Raises
        ------
        UsageError
            It is no PNG, JPEG or SVG, or larger than 500 kB.
        """
        if logo is None:
            self._keep(_LOGO, "", None)
            return
        if logo.media_type not in _LOGO_TYPES:
            raise UsageError(f"a logo is a PNG, JPEG or SVG picture, not {logo.media_type}")
        if len(logo.data) > _MOST_LOGO_BYTES:
            raise UsageError("the logo is larger than 500 kB: make the picture smaller")
        self._keep(_LOGO, logo.media_type, logo.data)

    def engine_files(self) -> tuple[KeptText, ...]:
        """Return the workshop's own engine files by name."""
        return tuple(text for _, text in sorted(self._newest(_ENGINE).items()))

    def keep_engine_file(self, name: str, text: str) -> Engine:
        """Keep an engine file under a name; the same name again replaces it.

        Raises
        ------
        UsageError
            The name is empty, or none that an address can hold.
        UnreadableError
            It is no engine file; names the place in it.
        """
        words = " ".join(name.split())
        if not words:
            raise UsageError("the engine file needs a name, such as tarn-t20")
        if _NO_ENGINE_NAME.search(words) or len(words) > _MOST_ENGINE_NAME:
            raise UsageError(
                "the engine file's name stands in its address: take letters and digits, 100 "
                "characters at most, such as tarn-t20"
            )
        engine = parse_engine(text, where=words, family=words)
        self._keep(_ENGINE, words, text.encode())
        return engine

    def drop_engine_file(self, name: str) -> None:
        """Take an engine file of one's own away; raises NotFoundError where there is none."""
        if name not in self._newest(_ENGINE):
            raise NotFoundError(f"there is no engine file {name!r} of your own")
        self._keep(_ENGINE, name, None)

    def engines(self) -> dict[str, Engine]:
        """Return every engine by the name of its file; the workshop's own over the shipped."""
        own = {
            kept.name: parse_engine(kept.text, where=kept.name, family=kept.name)
            for kept in self.engine_files()
        }
        return shipped() | own

    def engine_of_family(self, family: str | None) -> Engine | None:
        """Return the engine of a family, the workshop's own before a shipped one."""
        if not family:
            return None
        wanted = family.casefold()
        fitting = [e for e in self.engines().values() if e.family.casefold() == wanted]
        return fitting[-1] if fitting else None

    def policy_text(self) -> str | None:
        """Return the workshop's own policy as TOML, if it has one."""
        kept = self._newest(_POLICY).get("")
        return kept.text if kept else None

    def policy(self) -> Policy:
        """Return the policy that counts: the workshop's values over the shipped ones."""
        text = self.policy_text()
        return load_policy(None) if text is None else parse_policy(text, where="policy")

    def keep_policy(self, text: str | None) -> None:
        """Keep a policy as TOML, or go back to the shipped one.

        Raises
        ------
        UnreadableError
            It is no policy; names the place in it.
        """
        if text is not None:
            parse_policy(text, where="policy")
        self._keep(_POLICY, "", None if text is None else text.encode())

    def keys(self) -> tuple[Key, ...]:
        """Return the keys of other programs by name; the keys themselves are not known here."""
        return tuple(
            Key(name, kept.text, kept.recorded_at)
            for name, kept in sorted(self._newest(_KEY).items())
        )

    def add_key(self, name: str) -> str:
        """Make a key for another program and return it; it can't be shown again.

        Raises
        ------
        UsageError
            The name is empty, or there is a key of this name.
        """
        words = " ".join(name.split())
        if not words:
            raise UsageError("name the program or computer that the key is for")
        if words in self._newest(_KEY):
            raise UsageError(
                f"there is a key for {words!r}: withdraw it first, or take another name"
            )
        key = secrets.token_urlsafe(_KEY_BYTES)
        self._keep(_KEY, words, hashlib.sha256(key.encode()).hexdigest().encode())
        return key

    def withdraw_key(self, name: str) -> None:
        """Withdraw a key; raises NotFoundError where there is none of this name."""
        if name not in self._newest(_KEY):
            raise NotFoundError(f"there is no key for {name!r}")
        self._keep(_KEY, name, None)

    def is_key(self, key: str) -> bool:
        """Whether this is a key in force.

        A key holds 256 random bits, so a plain digest is enough; a pass-phrase needs a slow one.
        """
        digest = hashlib.sha256(key.encode()).hexdigest()
        return any(secrets.compare_digest(digest, known.sha256) for known in self.keys())

    def pass_phrase_hash(self) -> str | None:
        """Return the hash of the pass-phrase, if one is set."""
        kept = self._newest(_PASS_PHRASE).get("")
        return kept.text if kept else None

    def keep_pass_phrase_hash(self, hashed: str | None) -> None:
        """Keep the hash of a pass-phrase, or take it away."""
        self._keep(_PASS_PHRASE, "", None if hashed is None else hashed.encode())

    def _keep(self, kind: str, name: str, body: bytes | None) -> None:
        with self._database.write() as session:
            session.add(ShopRow(kind=kind, name=name, body=body, recorded_at=datetime.now(UTC)))

    def _newest(self, kind: str) -> dict[str, KeptText]:
        """Newest row for each name, without those that were taken away."""
        last = select(func.max(ShopRow.id)).where(ShopRow.kind == kind).group_by(ShopRow.name)
        with self._database.read() as session:
            rows = session.scalars(select(ShopRow).where(ShopRow.id.in_(last)))
            return {
                row.name: KeptText(row.name, bytes(row.body).decode(), row.recorded_at)
                for row in rows
                if row.body is not None
            }
