"""Drives made apart from :mod:`speedcal.simulate`: other code, other assumptions, nothing imported from the package.

The order of making: a road (:mod:`road`), how it is driven (:mod:`driver`), what a receiver writes (:mod:`receiver`),
what the dial does (:mod:`dial`), what a passenger or a logger takes from it (:mod:`passenger`, :mod:`logger`) and by
which clock (:mod:`clock`). :mod:`kinds` is the table of kinds, :mod:`drive` puts one drive together with its truth,
:mod:`files` writes it as a user's files.
"""
