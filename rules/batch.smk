# What a batch comes to: the delivery for the repository and the report for the morning.


def done_of(wildcards):
    """The last record of each item that is not yet as it should be; settled ones are left out."""
    intake_of(wildcards)
    return [
        f"results/{wildcards.batch}/items/{item}/done.json"
        for item in RUN.unsettled(wildcards.batch)
    ]


def receipt_of(wildcards):
    intake_of(wildcards)
    if RUN.delivers(wildcards.batch):
        return f"deliveries/{wildcards.batch}.receipt.json"
    return []


def reports_of(batch):
    return f"results/{batch}/report/index.html"


def delivery_key(wildcards):
    return RUN.delivery_key(wildcards.batch)


rule deliver:
    input:
        intake=intake_of,
        done=done_of,
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
