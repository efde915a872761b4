"""The store of a release's names: built whole beside the old one, then only read.

One release is one SQLite file (:mod:`.sqlite`) or one set of tables in PostgreSQL
(:mod:`.postgresql`) with the same columns (:mod:`.schema`), written by :mod:`.build` and asked by
:mod:`.read`. Which of the two follows the main database (:mod:`.where`).
"""
