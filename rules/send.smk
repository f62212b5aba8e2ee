# Deliveries to object storage: see rules/store.smk.


checkpoint send_list:
    input:
        stated_of,
    output:
        due="results/{batch}/store/send.json",
    log:
        "results/{batch}/logs/send.log",
    localrule: True
    params:
        base=STORE["deliveries"],
        there=lambda wildcards: [
            entry.name
            for entry in delivered_in(wildcards.batch)
            if stored(delivery_url(wildcards.batch, entry.name))
        ],
    script:
        "../scripts/send_list.py"


checkpoint send_file:
    input:
        before_receipt,
    output:
        object_at(delivery_url("{batch}", "{name}")),
    log:
        "results/{batch}/store/sent/{name}/send.log",
    wildcard_constraints:
        name=r"[^/]+(?<!\.sha256)",
    localrule: True
    params:
        sha256=sha256_of,
    script:
        "../scripts/send_file.py"


rule send_digest:
    input:
        sent_object,
    output:
        object_at(stated_url("{batch}", "{name}")),
    log:
        "results/{batch}/store/sent/{name}/digest.log",
    wildcard_constraints:
        name=r"[^/]+(?<!\.sha256)",
    localrule: True
    params:
        address=lambda wildcards: delivery_url(wildcards.batch, wildcards.name),
        delivery=lambda wildcards: compared_in(wildcards.batch)[wildcards.name]["delivery"],
        sha256=sha256_of,
    script:
        "../scripts/send_digest.py"


rule send:
    input:
        *[sent_in(batch) for batch in RUN.batches],
