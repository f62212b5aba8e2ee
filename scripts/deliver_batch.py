"""Pack a batch's packages into a bag, read it again, write the receipt, and then the stamp."""

from pathlib import Path

from glassine import steps
from glassine.base import by_rule, target_results, threads
from glassine.deliver import step as deliver
from glassine.night import delivery_items, supervision

by_rule.check(globals())

threads.announce(snakemake.threads)
given = snakemake.params.given
results_dir = Path(snakemake.log[0]).parent.parent

with supervision.batch_step("deliver", given["batch"], results_dir, Path(snakemake.log[0])):
    if snakemake.input.targets:
        target_results.check(results_dir)
    outcome = deliver.deliver_batch(
        Path(snakemake.params.batch_dir),
        results_dir,
        Path(snakemake.params.deliveries_dir),
        steps.given("deliver", delivery_items.with_states(given, results_dir)),
    )
    deliver.write_stamp(Path(snakemake.output.stamp), outcome, snakemake.params.key)
