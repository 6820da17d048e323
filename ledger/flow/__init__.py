"""Where the nine steps meet. Each module is one use: nothing is judged here, only brought together.

``workspace`` opens a firm's data · ``preparing`` plans before the job · ``noticing``
the customer's paper · ``revisits`` when to come back ·
``recording`` sheets handed in · ``booking`` lines into entries
(``lines`` says what becomes of each, ``places`` where it was, ``observing`` what was seen) ·
``judging`` entries into judgements · ``holding`` held lines · ``correcting`` amendments and strikes
· ``closing`` the day · ``periods`` summaries · ``filing_register`` what was filed · ``inspecting``
and ``tracing`` the past · ``site_questions`` sites in doubt · ``examples`` the rule files' own.
"""
