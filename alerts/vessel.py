"""What a vessel is made of, and what salt does to it. Pure: no clock, no I/O.

Words of the trade, by practice and without a published figure: salt and nitrite eat into bare metal, and the metal goes
into the meat. Stainless steel lasts for days, and pits in time.
"""

import re

BARE = ("aluminium", "aluminum", "copper", "brass", "galvanised", "galvanized", "zinc", "iron", "chipped enamel")
"""What no cure goes into."""
STAINLESS = "stainless"


def bare_metal(vessel: str) -> str:
    """Return which of the refused materials the words name; empty for none, and for what nobody has said."""
    said = f" {' '.join(re.findall('[a-z]+', vessel.casefold()))} "
    return "" if STAINLESS in said else next((one for one in BARE if f" {one} " in said), "")


def stainless(vessel: str) -> bool:
    """Return whether the words name stainless steel."""
    return STAINLESS in vessel.casefold()
