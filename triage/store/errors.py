"""What can go wrong with the store, in one family.

StoreError
    StoreUnreachable    no way to the store: folder, permission, server, address, missing driver
    StoreMissing        nothing is kept there yet (a StoreUnreachable)
    StoreFull           no room left to write; what was kept before stays kept
    StoreBusy           another program held the store for longer than we wait
    StoreDamaged        not a database, cut short, or a record that does not fit its chain
    StoreForeign        a sound database that belongs to another program; left as it was
    StoreNewer          written by a newer version of this program
    SessionMoved        another desk has added to this call since it was read
    LinesSetAside       lines that waited for the store do not fit it any more (a SessionMoved)
    SessionNotFound     no session of that id
    SessionAmbiguous    the beginning of an id fits several sessions

Every message says what happened, where, and how to mend it.
"""

from __future__ import annotations


class StoreError(Exception):
    """Anything the store cannot do; the cause of another library's making is kept beside it.

    `what` is what happened and where; the message adds how to mend it.
    """

    def __init__(self, what: str, mend: str = "") -> None:
        super().__init__(f"{what}; {mend}" if mend else what)
        self.what = what


class StoreUnreachable(StoreError):
    """There is no way to the store."""


class StoreMissing(StoreUnreachable):
    """Nothing is kept there yet, and nothing was to be made."""


class StoreFull(StoreError):
    """There is no room to write; nothing kept before is lost."""


class StoreBusy(StoreError):
    """Another program held the store for longer than we wait."""


class StoreDamaged(StoreError):
    """The store, or one record in it, is not as it was written."""


class StoreForeign(StoreError):
    """The database belongs to another program and was left as it was."""


class StoreNewer(StoreError):
    """The store was written by a newer version of this program."""


class SessionMoved(StoreError):
    """Another desk has added to this call."""


class LinesSetAside(SessionMoved):
    """Lines that waited for the store do not fit it any more; they are kept in a file."""


class SessionNotFound(StoreError):
    """No session of that id is kept here."""


class SessionAmbiguous(StoreError):
    """The beginning of an id fits more than one session."""


def shown(text: object) -> str:
    r"""Return `text` on one line without control characters, for a message on a terminal.

    >>> shown("a\x1b[31mb")
    'a?[31mb'
    """
    return "".join(sign if sign.isprintable() else "?" for sign in " ".join(str(text).split()))
