"""Proof of capture quality: targets measured and judged against published guidelines.

`gate.measure` does the work of a batch: `step` measures each target, `figures` are what comes of
it, `judge` compares them with the tables of limits, `demands` says what keeps the batch from
delivery, `trend` follows the measures over batches (its database is one file under results).
"""
