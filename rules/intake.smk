# What belongs together, before a pixel is read. The only checkpoint: until it has run, nobody
# knows which items there are.


checkpoint intake:
    output:
        intake="results/{batch}/intake.json",
    log:
        "results/{batch}/logs/intake.log",
    params:
        given=lambda wildcards: RUN.intake_given(wildcards.batch),
        batch_dir=lambda wildcards: str(RUN.batch_dir(wildcards.batch)),
    script:
        "../scripts/intake_batch.py"


def intake_of(wildcards):
    """intake.json of the batch, made when missing or outdated. Its time says nothing about an
    item, what it tells of the item reaches the rules by their params: hence ancient()."""
    return ancient(checkpoints.intake.get(batch=wildcards.batch).output.intake)


def given(step):
    """What a step of an item is given: see scripts/glassine/plan.py."""
    return lambda wildcards: RUN.step_given(step, wildcards.batch, wildcards.item)


def batch_dir_of(wildcards):
    return str(RUN.batch_dir(wildcards.batch))


def render_mb(wildcards):
    return RUN.render_mb(wildcards.batch, wildcards.item)
