# What the rules look up. All of it is asked while the graph is made, and again once intake has run.


def intake_of(wildcards):
    """intake.json of the batch, made when missing or outdated. Its time says nothing about an
    item, what it tells of the item reaches the rules by their params: hence ancient()."""
    return ancient(checkpoints.intake.get(batch=wildcards.batch).output.intake)


def steps_of(wildcards):
    """What each step of an item is given: see scripts/glassine/plan.py."""
    return RUN.steps_given(wildcards.batch, wildcards.item)


def item_key(wildcards):
    return RUN.item_key(wildcards.batch, wildcards.item)


def batch_dir_of(wildcards):
    return str(RUN.batch_dir(wildcards.batch))


def render_mb(wildcards):
    return RUN.render_mb(wildcards.batch, wildcards.item)


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
