# The way of one item, in one job: verify, locate, look, render, embed, record, pack; or its second
# half, from render on, where it may share a film with other items (rules/films.smk). The job starts at
# the first step that is due (scripts/glassine/night/item_job.py); which step is given what, and leaves
# which records, stands in scripts/glassine/steps.py.
#
# Masters are named in params, not as inputs: a master that vanished holds its item alone, where a
# missing input would stop the whole night. The only output is the stamp: a step that fails leaves
# what was done before it, and the engine puts no file of its own into a package.
#
# No `benchmark:`, as it would time the job as one: each step times itself (timings/ in the item's
# folder, glassine/report/timing.py), and a file of times is an output that a failed job loses.


rule item:
    input:
        intake=intake_of,
        # What the targets say stands in each record; a capture made anew reaches it by the params.
        targets=settled_targets_of,
        films=films_of,
    output:
        done="results/{batch}/items/{item}/done.json",
    log:
        "results/{batch}/items/{item}/logs/item.log",
    # One: items do not wait for one another, so a core each takes no fewer of them through a night
    # than two cores that share the work of one, parts of which one alone can do (start, tone). The
    # number changes no byte, and is no param.
    threads: 1
    resources:
        mem_mb=render_mb,
    params:
        steps=steps_of,
        key=item_key,
        batch_dir=batch_dir_of,
    script:
        "../scripts/process_item.py"
