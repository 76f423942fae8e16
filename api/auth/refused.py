"""Why a request was turned away before anything was looked at; `api.errors` says it to people and to programs."""

from api.auth.roles import Role


class NotSignedIn(Exception):
    """Nobody has signed in, or the session has ended."""


class MayNot(Exception):
    """The person's roles do not allow it."""

    def __init__(self, role: Role) -> None:
        super().__init__(f"this needs the role {role}")
        self.role = role


class FormRefused(Exception):
    """The form does not come from a page of ours, or its page is older than the session."""


class Wait(Exception):
    """Too many attempts; the next one is looked at after a while."""

    def __init__(self, wait_s: float) -> None:
        super().__init__(f"wait {wait_s:.0f} s, then try again")
        self.wait_s = wait_s
