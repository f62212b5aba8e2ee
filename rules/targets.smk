# Proof of the capture's quality: what batch.yaml names as target captures, measured and judged.


rule targets:
    input:
        intake=intake_of,
    output:
        results="results/{batch}/targets.json",
    log:
        "results/{batch}/logs/targets.log",
    resources:
        mem_mb=2000,
    params:
        given=lambda wildcards: LOOKUP.targets_given(wildcards.batch),
        batch_dir=batch_dir_of,
    script:
        "../scripts/measure_targets.py"
