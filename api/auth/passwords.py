"""Passwords: what is accepted, and how they are kept. Argon2id; no rule about their composition."""

import threading
import unicodedata

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from api.actions.faults import Fault
from api.auth.refused import Wait
from collector.kitchen import Person

SHORTEST, ADVISED, LONGEST = 8, 15, 256
"""At least 8, 15 advised, at least 64 possible: OWASP ASVS 5.0.0 6.2.1 and 6.2.9."""
MEMORY_KIB, PASSES, LANES = 47_104, 1, 1
"""OWASP ASVS 5.0.0 appendix C, argon2id with p = 1 and t = 1: at least 47,104 KiB."""
HASHES_AT_ONCE, IN_LINE, PATIENCE_S = 2, 8, 10.0
"""House: each takes 46 MiB, so that more at once would be a way to exhaust a small machine. Those who wait in line hold
a thread each, and the pages need the others."""
FIELD = "password"

# From memory, not checked: what lists of leaked passwords begin with, from 8 characters on, and words of the trade.
COMMONEST = frozenset(
    """
    12345678 123456789 1234567890 12345678910 123123123 1234512345 0123456789 987654321 9876543210 87654321 11111111
    00000000 88888888 99999999 12341234 11223344 1122334455 147258369 789456123 123456789a a123456789 1q2w3e4r
    1q2w3e4r5t 1qaz2wsx qwertyui qwertyuiop qwerty123 qwerty12 qwerty1234 asdfghjk asdfghjkl zxcvbnm1 password
    password1 password12 password123 passw0rd p@ssw0rd p@ssword iloveyou iloveyou1 princess princess1 sunshine
    sunshine1 football football1 baseball baseball1 superman batman123 trustno1 whatever computer internet starwars
    michael1 jennifer jordan23 liverpool chelsea1 arsenal1 welcome1 welcome123 letmein1 letmein123 changeme changeme1
    changeme123 administrator admin123 admin1234 administrator1 default1 testtest test1234 guest1234 abcd1234 abc12345
    abcdefgh abcdefghi aaaaaaaa 1234qwer q1w2e3r4 q1w2e3r4t5 zaq12wsx monkey123 dragon123 shadow123 master123 hello123
    charlie1 freedom1 secret123 summer2024 summer2025 summer2026 winter2024 winter2025 winter2026 curevigil
    curevigil1 charcuterie kitchen1 kitchen123 smokehouse prosciutto pancetta guanciale corned beef cornedbeef
    pastrami1 brisket1 bacon123 baconbacon saltbox1 coldroom coldroom1
    """.split()
)

_hasher = PasswordHasher(time_cost=PASSES, memory_cost=MEMORY_KIB, parallelism=LANES)
_at_once = threading.BoundedSemaphore(HASHES_AT_ONCE)
_in_line = threading.BoundedSemaphore(IN_LINE)
NOBODYS = "$argon2id$v=19$m=47104,t=1,p=1$Y3VyZXZpZ2lsLW5vYm9keQ$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"
"""No password has it: an account that does not exist takes as long as one that does."""


def faults_of(password: str, person: Person) -> list[Fault]:
    """Return why a password is not accepted."""
    plain = _read(password)
    if len(plain) < SHORTEST:
        return [Fault(FIELD, f"is shorter than {SHORTEST} characters", f"take more; {ADVISED} are advised")]
    if len(password) > LONGEST:
        return [Fault(FIELD, f"is longer than {LONGEST} characters", "take fewer")]
    if plain.casefold() in COMMONEST or len(set(plain)) < 3:
        return [Fault(FIELD, "is one of those that are tried first", "take another; a few words in a row are good")]
    names = {person.id.casefold(), person.name.casefold(), *person.name.casefold().split()}
    if plain.casefold().strip("0123456789 .!-_") in names:
        return [Fault(FIELD, "is your own name", "take another; a few words in a row are good")]
    return []


def hashed(password: str) -> str:
    """Return what is kept of a password. Raises Wait when too many are asked for at once."""
    with _Turn():
        return _hasher.hash(_bytes(password))


def fits(kept: str | None, password: str) -> bool:
    """Return whether it is the password; with nothing kept, no, after the same time. Raises Wait."""
    with _Turn():
        try:
            return _hasher.verify(kept or NOBODYS, _bytes(password[: 4 * LONGEST])) and kept is not None
        except (Argon2Error, InvalidHashError):
            return False


class _Turn:
    def __enter__(self) -> None:
        if not _in_line.acquire(blocking=False):
            raise Wait(PATIENCE_S)
        if not _at_once.acquire(timeout=PATIENCE_S):
            _in_line.release()
            raise Wait(PATIENCE_S)

    def __exit__(self, *args: object) -> None:
        _at_once.release()
        _in_line.release()


def _read(password: str) -> str:
    # The same letters may arrive composed or not, by keyboard and by system.
    return unicodedata.normalize("NFC", password)


def _bytes(password: str) -> bytes:
    return _read(password).encode("utf-8", "surrogatepass")
