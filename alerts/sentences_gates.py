"""What is said of warm stages and of what must be given before a batch is released. Pure: no clock, no I/O."""

SAID = {
    # Nothing judges by it any more; proposals that were recorded say it still.
    "e-1 no rule": "Stage {stages}: no rule judges it yet, so at release nothing can be told of it.",
    "e-1 no window": "Stage {stage}: nobody has said within which temperatures it may stand, so at release "
    "nothing can be told of it. An approver enters a window into the plan: an approved process with its number, "
    "or house.",
    "e-1 nothing read": "Stage {stage}: nothing was read of it, so whether it kept to {bounds} cannot be told.",
    "e-1 within": "Stage {stage}: it kept to {bounds} (window by {window}).",
    "e-1 cannot tell": "Stage {stage}: it is not known throughout; by the upper estimate it kept to {bounds} "
    "(window by {window}).",
    "e-1 outside": "Stage {stage}, tub {tub}: outside its window of {bounds} (by {window}) for {minutes}, at "
    "most {peak_c} °C. That time is judged as if it had stood in the cold room. Enter the cause and what was "
    "done.",
    "e-1 below": "Stage {stage}, tub {tub}: colder than its window of {bounds} (by {window}) for "
    "{below_minutes}. It does no harm by itself, but the process was not the one that is meant. Enter the cause.",
    "e-1 heated": "Cooking: the core went from {from_c} to {to_c} °C in {minutes}; {allowed_minutes} are allowed.",
    "e-1 heated slowly": "Cooking: the core took {minutes} or more from {from_c} to {to_c} °C, "
    "{allowed_minutes} being allowed. Staphylococci may have made toxin, which heat does not destroy.",
    "e-1 heating unknown": "Cooking: the log does not show the core from {from_c} to {to_c} °C (its first "
    "entry is {first_c} °C). Enter when the meat was put on and how cold it was, or an earlier entry.",
    "e-11 cure counted": "The cure has run its length.",
    "e-11 cure not known": "The cure has run its length by what is known; part of the time is unknown.",
    "e-11 cure not yet": "The cure goes on until {until_at}.",
    "e-11 cure short": "The cure ended before its length had counted. Salt may be short inside: leave it "
    "longer, or an approver says why it is enough.",
    "e-11 cook missing": "There is no log of the cooking. Enter the core as the probe showed it, with its "
    "times: under “Log cooking or cooling”.",
    "e-11 cook within": "Cooked: the core was at {at_c} °C or more for {seconds}; {needed} is asked for ({table}).",
    "e-11 cook not yet": "Cooking: so far the core was at most {peak_c} °C. Asked for ({table}): {asked}.",
    "e-11 cook short": "Cooking: the core was at most {peak_c} °C, and no row of the table was kept to "
    "({table}): {asked}. Cook it again and log it.",
    "e-11 cook opened unknown": "Cooked as a whole piece: {at_c} °C or more for {seconds}. Nobody has said "
    "whether its inside was opened (injected, needled, jointed, boned or rolled). An approver says so in the "
    "plan; if it was, {asked} is asked for.",
    "e-11 cooling missing": "There is no log of the cooling after the cook. Enter the core with its times, "
    "from {from_c} °C down to {to_c} °C: under “Log cooking or cooling”.",
    "e-11 cooling within": "Cooled: {steps} ({way}).",
    "e-11 cooling not yet": "Cooling: {steps} ({way}). Go on logging until the core is at {to_c} °C.",
    "e-11 cooling unknown": "Cooling: {steps} ({way}). When it passed {from_c} °C is not known; enter an entry "
    "of the hot meat.",
    "e-11 cooling slow": "Cooling was too slow: {steps} ({way}). Spores that live through cooking may have "
    "grown and made toxin, which heating again does not undo. An approver decides.",
    "e-11 cooling nitrite unknown": "Cooling: {steps}. That is too slow for any meat ({way}); it would be "
    "within for meat protected by {nitrite}, and how much went in is not known.",
    "e-11 cooling not confirmed": "Cooling: {steps}. That is too slow for any meat ({way}); the times for "
    "nitrite-protected meat rest on rows that nobody has compared with their document.",
    "e-11 process missing": "Eaten uncooked, and no process is named. An approver enters it into the plan: a "
    "published one, or an approved one with its number.",
    "e-11 process poultry": "Uncooked poultry: there is no published process. Only an approved one will do; an "
    "approver enters its number into the plan.",
    "e-11 process within": "Eaten uncooked by this process: {process}.",
    "e-11 parasites missing": "Eaten uncooked, and nothing says how parasites were controlled. An approver "
    "enters it into the plan: freezing, a tested carcass, or a published cure.",
    "e-11 parasites stated": "Parasites: {control}, as the plan states. Keep the paper that proves it.",
    "e-11 parasites tested": "Parasites: officially tested meat, as the plan states. Keep the paper that "
    "proves it; where the authority asks for more, that comes first.",
    "e-11 parasites not enough": "Parasites: {control} is not enough under this rulebook. Freezing, a tested "
    "carcass or a published cure is asked for.",
    "e-11 parasites cured": "Parasites: cured {days} days with {salt} % salt, then at {at_c} °C or more for "
    "{minutes}, as the published cure asks.",
    "e-11 parasites cure short": "Parasites: the published cure asks for more than is shown: {lacking}.",
    "e-11 aw missing": "There is no measurement of the water activity. Enter it as a hand reading, with the "
    "method or the laboratory; {aw_limit} or less is asked for.",
    "e-11 aw no method": "The water activity was measured as {aw}, but not how. Enter it again with the method "
    "or the laboratory.",
    "e-11 aw within": "Water activity {aw} ({method}); {aw_limit} or less is asked for.",
    "e-11 aw high": "Water activity {aw} ({method}); {aw_limit} or less is asked for. Let it dry further and "
    "measure again.",
    "e-11 label missing": "Sold raw, and nothing says what is written on the pack. Enter the label, with “cook "
    "before eating”.",
    "e-11 label wrong": "Sold raw, and the label does not say “cook before eating”. Label it again and enter it.",
    "e-11 label within": "Sold raw, labelled “cook before eating”.",
    "e-11 route locked": "Cook or discard: as “{route}” nothing of it can be released. An approver may change "
    "its route to cooked, with a reason.",
    "e-11 divert": "What stands against it is killed by cooking. Before it is discarded: an approver may "
    "change its route to cooked, with a reason.",
}
"""Each sentence by its key; the figures are those of the finding."""
