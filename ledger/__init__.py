"""Use Ledger: a pesticide application ledger. A record's journey is nine steps, in this order.

1  read          ledger.intake       a sheet as handed in, into drafts that know where they stood
2  normalise     ledger.normalise    words, numbers, units, people and sites into an application
3  label         ledger.checks       what the label in hand says about it
4  jurisdiction  ledger.checks       what the law of the place, practice and licences say about it
5  append        ledger.journal      the entry and its judgement, sealed one to the next
6  close         ledger.close        the day: what it still waits for, then its seal
7  summarise     ledger.summarise    a period: totals a regulator asks for, exact to the last digit
8  file          ledger.filing       what was filed, when it was due, what has overtaken it
9  inspect       ledger.inspection   the past: entries, every version of them, one entry's story

Beside the steps stand what they share and where they meet:

values        what everyone speaks: frozen, standard library only
units         the closed list of units and exact conversion
unit_factors  the factors of that list, worked out once
numbers       numbers and quantities as people write them
arithmetic    the trade's arithmetic: mix to product, product to active ingredient
merkle        the tree over the whole journal, and its proofs
seal          canonical bytes, and seal codes that survive paper
rulebook      the grammar of rule files, and which rules hold on a day
deadlines     when a clock of the law ends, and the order of what is owed
audit         what an inspector checks, in which order, and what is owed
stock         the stock account: bought, moved, used, disposed, counted
weighing      a day's tools: weighed and loaded against what the lines say
stating       an amount in a unit that a form takes, and in pounds
refusals      what a regulator does not take in a line of a report
listing       reports of single applications, of groups of them, and of people
preparing     before the job: may I, how much, how is it mixed, when again
notice        papers for the customer: which ones, and what each must say
plausible     whether amounts, twins and counties look right: advice
report_remarks  what stands below a report's table
rulefile      a rule file's table and the line of every key
flow          where the steps meet; it judges nothing itself
demo          an invented month, as data
cli           the command line: opens files and the database, reads the clock
"""
