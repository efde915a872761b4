"""How populations live and die: rates, survival, growth, projection, and a watch on deaths.

Plain functions on plain numbers. A refusal is a
:class:`~census.estimators.rules.estimate.CannotEstimate` with a sentence that says why.
"""
