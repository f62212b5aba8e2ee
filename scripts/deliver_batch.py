"""Pack a batch's packages into a bag, read it again, write the receipt, and then the stamp."""

from pathlib import Path

from glassine import delivery, gate, jobs, run

given = snakemake.params.given
results_dir = Path(snakemake.log[0]).parent.parent

with jobs.batch_step("deliver", given["batch"], results_dir, Path(snakemake.log[0])):
    if snakemake.input.targets:
        gate.check(results_dir)
    outcome = delivery.deliver_batch(
        Path(snakemake.params.batch_dir),
        results_dir,
        Path(snakemake.params.deliveries_dir),
        run.with_states(given, results_dir),
    )
    delivery.write_stamp(Path(snakemake.output.stamp), outcome, snakemake.params.key)
