"""The sentences of rule e-12, by key. Pure: no clock, no I/O."""

SAID = {
    "e-12 within": "No sensor behind this is due for a check, and none was found off when it was last checked.",
    "e-12 due soon": "The sensor {place} ({channel}) is due for a check by {due_at}.",
    "e-12 overdue": "The sensor {place} ({channel}) has been due for a check since {due_at}: from then on nothing it "
    "says is called within a limit. Check it in melting ice and enter what was found; a check that passes bears out "
    "what it said meanwhile.",
    "e-12 never checked": "Nobody has entered a check of the sensor {place} ({channel}); it was due by {due_at}. Check "
    "it in melting ice and enter what was found.",
    "e-12 was off": "The sensor {place} ({channel}) was {found_k} K off when it was checked at {checked_at}, "
    "{tolerance_k} K being allowed. That error is taken off everything it said since the check before. Say what was "
    "done about food made meanwhile.",
    "e-12 neighbours": "Two sensors of the unit were {difference_k} K apart for {minutes} from {from_at} ({leads} and "
    "{other}). One of them is wrong: measure the air by hand and enter it.",
    "e-12 neighbours hold": "Two sensors of the unit were {difference_k} K apart for {minutes} from {from_at} ({leads} "
    "and {other}). If the other is right, {rules} would hold. Measure the air by hand and enter it.",
    "e-12 contradicted": "Two sensors of the unit were {difference_k} K apart for {minutes} from {from_at}; a hand "
    "reading speaks against {contradicted}, so the other one is believed for that time.",
}
