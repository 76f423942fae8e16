"""Secrets that we hand out once and keep only as SHA-256: 256 bits of chance need no slow hash."""

import hashlib
import secrets


def fresh() -> str:
    """Return 256 bits of chance, as text that fits in a URL."""
    return secrets.token_urlsafe(32)


def digest(secret: str) -> str:
    """Return what is kept of a secret; any text has one."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def derived(secret: str, purpose: str) -> str:
    """Return another secret, that only somebody with the first can make."""
    return hashlib.blake2b(purpose.encode(), key=digest(secret).encode(), digest_size=32).hexdigest()
