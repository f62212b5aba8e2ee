# The way of one item. Masters are named in params, not as inputs: a master that vanished holds
# its item alone, where a missing input would stop the whole night. Outputs are the records: each
# is written last and lists what lies beside it; a folder as an output would get files of the
# engine's own, which no package may hold.


rule verify:
    input:
        intake=intake_of,
    output:
        fixity="results/{batch}/items/{item}/fixity.json",
    log:
        "results/{batch}/items/{item}/logs/verify.log",
    params:
        given=given("verify"),
        batch_dir=batch_dir_of,
    script:
        "../scripts/verify_masters.py"


rule locate:
    input:
        intake=intake_of,
        fixity=rules.verify.output.fixity,
    output:
        geometry="results/{batch}/items/{item}/geometry.json",
    log:
        "results/{batch}/items/{item}/logs/locate.log",
    resources:
        mem_mb=600,
    params:
        given=given("locate"),
        batch_dir=batch_dir_of,
    script:
        "../scripts/locate_frames.py"


rule render:
    input:
        intake=intake_of,
        fixity=rules.verify.output.fixity,
        geometry=rules.locate.output.geometry,
    output:
        quality="results/{batch}/items/{item}/quality.json",
        render="results/{batch}/items/{item}/render/render.json",
    log:
        "results/{batch}/items/{item}/logs/render.log",
    resources:
        mem_mb=render_mb,
    params:
        given=given("render"),
        batch_dir=batch_dir_of,
    script:
        "../scripts/render_frames.py"


rule embed:
    input:
        intake=intake_of,
        fixity=rules.verify.output.fixity,
        render=rules.render.output.render,
    output:
        embedded="results/{batch}/items/{item}/embedded.json",
    log:
        "results/{batch}/items/{item}/logs/embed.log",
    params:
        given=given("embed"),
        batch_dir=batch_dir_of,
    script:
        "../scripts/embed_metadata.py"


rule record:
    input:
        intake=intake_of,
        fixity=rules.verify.output.fixity,
        geometry=rules.locate.output.geometry,
        quality=rules.render.output.quality,
        embedded=rules.embed.output.embedded,
    output:
        mets="results/{batch}/items/{item}/METS.xml",
        manifest="results/{batch}/items/{item}/manifest.json",
    log:
        "results/{batch}/items/{item}/logs/record.log",
    params:
        given=given("record"),
        batch_dir=batch_dir_of,
    script:
        "../scripts/record_item.py"


rule pack:
    input:
        intake=intake_of,
        mets=rules.record.output.mets,
        manifest=rules.record.output.manifest,
        embedded=rules.embed.output.embedded,
    output:
        package="results/{batch}/items/{item}/package.json",
        done="results/{batch}/items/{item}/done.json",
    log:
        "results/{batch}/items/{item}/logs/pack.log",
    params:
        given=given("pack"),
        batch_dir=batch_dir_of,
        key=lambda wildcards: RUN.item_key(wildcards.batch, wildcards.item),
    script:
        "../scripts/pack_item.py"
