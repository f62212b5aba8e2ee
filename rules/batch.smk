# What a batch comes to: the delivery for the repository and the report for the morning.
#
# The engine removes a rule's output before the rule runs again, and after it failed. So the output
# of `deliver` is a stamp, which is worth nothing; receipts are written by the delivery itself.


rule deliver:
    input:
        intake=intake_of,
        done=done_of,
        targets=targets_of,
    output:
        stamp="results/{batch}/delivered.json",
    log:
        "results/{batch}/logs/deliver.log",
    # Nothing else of the batch can be done meanwhile, and its files are copied, hashed and read again
    # by a process each; beyond some, a disk is what is waited for. The number changes no byte. On a
    # cluster nothing is known of its nodes: config/slurm says how they get more.
    threads: min(8, workflow.resource_settings.cores or 2)
    params:
        given=lambda wildcards: LOOKUP.delivery_given(wildcards.batch),
        standing=standing_of,
        batch_dir=batch_dir_of,
        deliveries_dir=lambda wildcards: str(PLACE.deliveries),
        key=delivery_key,
    script:
        "../scripts/deliver_batch.py"


rule report:
    input:
        intake=intake_of,
        done=done_of,
        targets=targets_of,
        delivered=delivered_of,
    output:
        page="results/{batch}/report/index.html",
    log:
        "results/{batch}/logs/report.log",
    params:
        given=lambda wildcards: LOOKUP.report_given(wildcards.batch),
        standing=standing_of,
        key=delivery_key,
    script:
        "../scripts/report_batch.py"
