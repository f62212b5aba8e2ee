# What belongs together, before a pixel is read. The only checkpoint: until it has run, nobody
# knows which items there are.


checkpoint intake:
    output:
        intake="results/{batch}/intake.json",
    log:
        "results/{batch}/logs/intake.log",
    params:
        given=lambda wildcards: LOOKUP.intake_given(wildcards.batch),
        batch_dir=lambda wildcards: str(PLACE.batch_dir(wildcards.batch)),
        minting=lambda wildcards: LOOKUP.minting_given(),
    script:
        "../scripts/intake_batch.py"
