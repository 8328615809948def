"""Analyses of a season-long field trial of snow-plow cutting edges.

A trial folder goes in, a council report comes out::

    files -> intake -> checks -> Trial -> analyses -> results -> figures, sentences -> notebooks -> report

Call through the modules, so that the topic shows at each call::

    from trialkit.edges import wear
    rates = wear.fit_wear_rates(readings)

The modules beside this one are the vocabulary: names, units, limits, words. The packages are `trial` (what was recorded and
what is wrong with it), `stats` (general small-sample statistics), `edges` (wear and life), `cab` (sound and vibration),
`report` (figures, words, notebooks, documents) and `demo`. DEVELOPERS.md holds the module map.
"""

__version__ = "0.2.0"
