# Object storage, before and after a night, for those who keep masters or deliveries there:
#
#     scripts/nightly fetch      masters of the batches named under `batches`
#     scripts/nightly            the night itself, which knows nothing of it
#     scripts/nightly send       deliveries and their receipts
#
# Included for these targets only, so that a night neither needs nor loads the plugin. What is there
# already is no job. Local files are named in params and never as inputs or outputs: the engine
# removes an output before a job, and would make a receipt that it misses.


checkpoint fetch_list:
    input:
        lists_of,
    output:
        due="results/{batch}/store/fetch.json",
    log:
        "results/{batch}/logs/fetch.log",
    localrule: True
    params:
        names=lambda wildcards: [
            name
            for name in [masters.LIST, *STORE["beside"]]
            if stored(master_url(wildcards.batch, name))
        ],
        batch_dir=lambda wildcards: str(RUN.batch_dir(wildcards.batch)),
    script:
        "../scripts/fetch_list.py"


rule fetch_master:
    input:
        master_object,
    output:
        mark="results/{batch}/store/fetched/{file}/digest.json",
    log:
        "results/{batch}/store/fetched/{file}/fetch.log",
    wildcard_constraints:
        file=".+",
    localrule: True
    params:
        batch_dir=lambda wildcards: str(RUN.batch_dir(wildcards.batch)),
        sha256=lambda wildcards: due_in(wildcards.batch)[wildcards.file]["sha256"],
    script:
        "../scripts/fetch_master.py"


rule fetch:
    input:
        *[fetched_in(batch) for batch in RUN.batches if "fetch" in RUN.moves],


checkpoint send_list:
    input:
        stated_of,
    output:
        due="results/{batch}/store/send.json",
    log:
        "results/{batch}/logs/send.log",
    localrule: True
    params:
        there=lambda wildcards: [
            entry["name"]
            for entry in delivered_in(wildcards.batch)
            if stored(delivery_url(wildcards.batch, entry["name"]))
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
        sha256=sha256_of,
    script:
        "../scripts/send_digest.py"


rule send:
    input:
        *[sent_in(batch) for batch in RUN.batches if "send" in RUN.moves],
