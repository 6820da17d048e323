"""2 normalise: a draft and the words at hand into an application, or every fault that holds it.

``line`` brings a line together · ``text`` clean texts · ``dates`` · ``people`` · ``products`` ·
``postal``, ``addresses``, ``sites`` where · ``amounts``, ``dosing``, ``extents`` how much ·
``words``, ``lists``, ``weather`` the rest · ``identity`` what makes two lines the same ·
``observation`` what was seen. Pure: the ledger is asked for a site through a function handed in.
"""
