# Masters from object storage: see rules/store.smk.


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
        batch_dir=lambda wildcards: str(PLACE.batch_dir(wildcards.batch)),
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
        batch_dir=lambda wildcards: str(PLACE.batch_dir(wildcards.batch)),
        sha256=lambda wildcards: due_in(wildcards.batch)[wildcards.file]["sha256"],
    script:
        "../scripts/fetch_master.py"


rule fetch:
    input:
        *[fetched_in(batch) for batch in RUN.batches],
