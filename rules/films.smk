# Films of a batch: what negatives of several masters share (scripts/glassine/films). Of a batch in
# which no two masters may share one, none of this is in the graph.
#
# An item that may share a film takes two jobs: `look` up to the look at its frames, and `item` from
# render on, once the films are known. An item that turns out to have no such frame (a print, a
# slide) goes through to its package in the first. One that is held fails no job before its second,
# so that it keeps none of the others from their films.
#
# films.json is no output, which the engine would remove before the job could read what was used
# before; a checkpoint, as only then is known which finished items are rendered anew.


rule look:
    input:
        intake=intake_of,
        targets=settled_targets_of,
    output:
        looked="results/{batch}/items/{item}/looked.json",
    log:
        "results/{batch}/items/{item}/logs/item.log",
    # A job that the machine or the queue killed would keep all the others from their films.
    retries: 1
    threads: 1
    resources:
        mem_mb=render_mb,
    params:
        steps=unpooled_steps_of,
        key=unpooled_key,
        batch_dir=batch_dir_of,
    script:
        "../scripts/look_at_item.py"


checkpoint films:
    input:
        intake=intake_of,
        looked=looked_of,
    output:
        stamp="results/{batch}/films-made.json",
    log:
        "results/{batch}/logs/films.log",
    resources:
        mem_mb=2000,
    params:
        given=lambda wildcards: LOOKUP.films_given(wildcards.batch),
    script:
        "../scripts/pool_films.py"
