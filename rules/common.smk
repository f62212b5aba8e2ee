# What the rules look up. All of it is asked while the graph is made, and again once intake has run.


def intake_of(wildcards):
    """intake.json of the batch, made when missing or outdated. Its time says nothing about an
    item, what it tells of the item reaches the rules by their params: hence ancient()."""
    return ancient(checkpoints.intake.get(batch=wildcards.batch).output.intake)


def steps_of(wildcards):
    """What each step of an item is given: see scripts/glassine/steps.py."""
    return LOOKUP.steps_given(wildcards.batch, wildcards.item)


def item_key(wildcards):
    return LOOKUP.item_key(wildcards.batch, wildcards.item)


def unpooled_steps_of(wildcards):
    """What each step of an item is given while it is not known which films it shares."""
    return LOOKUP.steps_given(wildcards.batch, wildcards.item, pooled=False)


def unpooled_key(wildcards):
    return LOOKUP.item_key(wildcards.batch, wildcards.item, pooled=False)


def batch_dir_of(wildcards):
    return str(PLACE.batch_dir(wildcards.batch))


def render_mb(wildcards):
    return LOOKUP.render_mb(wildcards.batch, wildcards.item)


def looked_of(wildcards):
    """The stamp of each item whose frames must be looked at before the films are made."""
    checkpoints.intake.get(batch=wildcards.batch)
    return [
        f"results/{wildcards.batch}/items/{item}/looked.json"
        for item in LOOKUP.unlooked(wildcards.batch)
    ]


def films_in(batch):
    """The films of the batch, where items of it may share any: which items are due is known once
    they are made. Their time says nothing of an item, hence ancient()."""
    checkpoints.intake.get(batch=batch)
    if LOOKUP.pools(batch):
        return ancient(checkpoints.films.get(batch=batch).output.stamp)
    return []


def films_of(wildcards):
    return films_in(wildcards.batch)


def done_in(batch):
    """The last record of each item that is not yet as it should be; settled ones are left out."""
    films_in(batch)
    return [f"results/{batch}/items/{item}/done.json" for item in LOOKUP.unsettled(batch)]


def done_of(wildcards):
    return done_in(wildcards.batch)


def stamp_in(batch):
    """The stamp of the delivery, where the batch may be delivered tonight."""
    checkpoints.intake.get(batch=batch)
    return [f"results/{batch}/delivered.json"] if LOOKUP.delivers(batch) else []


def delivered_of(wildcards):
    return stamp_in(wildcards.batch)


def standing_of(wildcards):
    """What of receipts and bags is lost, damaged or carried away: it is told when it changes."""
    return LOOKUP.standing(wildcards.batch)


def due_of(batch):
    """Return what tells all that a night owes a batch. Each file is named by itself: a report that
    `onerror` wrote looks current to the engine though items or the delivery are missing."""

    def due(_):
        return [*done_in(batch), *stamp_in(batch), f"results/{batch}/report/index.html"]

    return due


def targets_of(wildcards):
    """What the target captures say, where batch.yaml names any."""
    intake_of(wildcards)
    if LOOKUP.has_targets(wildcards.batch):
        return f"results/{wildcards.batch}/targets.json"
    return []


def settled_targets_of(wildcards):
    return [ancient(path) for path in [targets_of(wildcards)] if path]


def delivery_key(wildcards):
    return LOOKUP.delivery_key(wildcards.batch)
