"""Who is at the keyboard, as the operating system knows them."""

from __future__ import annotations

import os


def login_name(user: int | None = None) -> str:
    """The login name of `user` (this process's own by default), or `user 1234` where there is no name.

    Asked of the user database, not of the environment, which anybody may set.
    """
    number = os.getuid() if user is None else user
    try:
        import pwd

        return pwd.getpwuid(number).pw_name
    except (ImportError, KeyError):
        return f"user {number}"
