# What a batch comes to: the delivery for the repository and the report for the morning.


rule deliver:
    input:
        intake=intake_of,
        done=done_of,
        targets=targets_of,
    output:
        receipt="deliveries/{batch}.receipt.json",
    log:
        "results/{batch}/logs/deliver.log",
    params:
        given=lambda wildcards: RUN.delivery_given(wildcards.batch),
        batch_dir=batch_dir_of,
        key=delivery_key,
    script:
        "../scripts/deliver_batch.py"


rule report:
    input:
        intake=intake_of,
        done=done_of,
        targets=targets_of,
        receipt=receipt_of,
    output:
        page="results/{batch}/report/index.html",
    log:
        "results/{batch}/logs/report.log",
    params:
        given=lambda wildcards: RUN.report_given(wildcards.batch),
        key=delivery_key,
    script:
        "../scripts/report_batch.py"
