"""Before the job: may this be done here, how much, how is it mixed, when again?

``stage`` reads and judges the planned line just as a recorded one · ``rules_here`` the rules that
stand over it · ``ladder`` the largest amount one can weigh or measure that breaks nothing ·
``wish`` what was asked, with what the ledger knows · ``tank`` several products in one tank ·
``amounts`` how much, the mix, placements · ``again`` intervals, counts, history, other products ·
``lasting`` how long a treatment lasts and when to come back · ``plan`` all of it together.

Pure: no file, database or clock. Nothing is decided here: every yes and no is what
``ledger.checks.judge`` says of the line as it would be recorded.
"""
