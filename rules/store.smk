# Object storage, before and after a night, for those who keep masters or deliveries there:
#
#     scripts/nightly fetch      masters of the batches named under `batches`
#     scripts/nightly            the night itself, which knows nothing of it
#     scripts/nightly send       deliveries and their receipts
#
# Included for these targets only, so that a night neither needs nor loads the plugin. What is there
# already is no job. Local files are named in params and never as inputs or outputs: the engine
# removes an output before a job, and would make a receipt that it misses.

import functools

from glassine import files, store
from glassine.errors import GlassineError
from glassine.store import deliveries, masters

STORE = RUN.config["store"]


storage store:
    provider="s3",
    endpoint_url=STORE["endpoint_url"] or None,


# The same service under a second name, whose local copies lie elsewhere: what was sent is read back
# from the storage and not from the copy that was sent.
storage again:
    provider="s3",
    endpoint_url=STORE["endpoint_url"] or None,


def object_at(url):
    return storage.store(url)


@functools.cache
def stored(url):
    """Return whether the storage has the object; it is asked once a run, and of the plugin itself,
    as the engine's own function does not work while the graph is made."""
    return object_at(url).flags["storage_object"].exists()


def object_in(url):
    """Return the object as the input of a job, or nothing where there is none: the job tells."""
    return [object_at(url)] if stored(url) else []


def master_url(batch, name):
    return store.url(STORE["masters"], batch, name)


def delivery_url(batch, name):
    return store.url(STORE["deliveries"], batch, name)


def state_of(batch):
    return store.state_dir(Path("."), batch)


# --- fetch ---


def lists_of(wildcards):
    names = [masters.LIST, *STORE["beside"]]
    return [copy for name in names for copy in object_in(master_url(wildcards.batch, name))]


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


def due_in(batch):
    """Return {path: what fetch.json says of it}."""
    record = checkpoints.fetch_list.get(batch=batch).output.due
    return {entry["path"]: entry for entry in files.read_json(Path(record))["due"]}


def master_object(wildcards):
    if due_in(wildcards.batch)[wildcards.file]["differs"]:
        return []
    return object_in(master_url(wildcards.batch, wildcards.file))


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


def fetched_in(batch):
    def marks(_):
        state = state_of(batch)
        return [str(store.mark_of(state, "fetched", path)) for path in due_in(batch)]

    return marks


rule fetch:
    input:
        *[fetched_in(batch) for batch in RUN.batches if "fetch" in RUN.moves],


# --- send ---


def delivered_in(batch):
    """Return the files of a batch's deliveries; what is wrong with receipts, the job tells."""
    try:
        return deliveries.delivered_files(Path("deliveries"), batch)
    except GlassineError:
        return []


def stated_of(wildcards):
    """Return the digests that lie beside the objects, as far as there are some."""
    urls = [
        delivery_url(wildcards.batch, entry["name"] + deliveries.DIGEST_SUFFIX)
        for entry in delivered_in(wildcards.batch)
    ]
    return [copy for url in urls for copy in object_in(url)]


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


def compared_in(batch):
    """Return {name: what send.json says of it}, of the files that are not there yet."""
    record = checkpoints.send_list.get(batch=batch).output.due
    listed = files.read_json(Path(record))["files"]
    return {entry["name"]: entry for entry in listed if entry["state"] != "there"}


def before_receipt(wildcards):
    """Return what must be in the storage before the file: for a receipt, all that it tells of."""
    due = compared_in(wildcards.batch)
    own = due[wildcards.name]
    if own["kind"] != "receipt":
        return []
    return [
        object_at(delivery_url(wildcards.batch, name + deliveries.DIGEST_SUFFIX))
        for name, entry in due.items()
        if entry["delivery"] == own["delivery"] and name != wildcards.name
    ]


def sha256_of(wildcards):
    return compared_in(wildcards.batch)[wildcards.name]["sha256"]


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


def sent_object(wildcards):
    """Return the object as it is in the storage, once it was sent or where it was found there
    without a digest beside it; never as what send_file makes, which would send it anew."""
    if compared_in(wildcards.batch)[wildcards.name]["state"] == "absent":
        checkpoints.send_file.get(batch=wildcards.batch, name=wildcards.name)
    return storage.again(delivery_url(wildcards.batch, wildcards.name))


rule send_digest:
    input:
        sent_object,
    output:
        object_at(delivery_url("{batch}", "{name}" + deliveries.DIGEST_SUFFIX)),
    log:
        "results/{batch}/store/sent/{name}/digest.log",
    wildcard_constraints:
        name=r"[^/]+(?<!\.sha256)",
    localrule: True
    params:
        sha256=sha256_of,
    script:
        "../scripts/send_digest.py"


def sent_in(batch):
    def objects(_):
        due = compared_in(batch)
        absent = [name for name, entry in due.items() if entry["state"] == "absent"]
        names = [*absent, *(name + deliveries.DIGEST_SUFFIX for name in due)]
        return [object_at(delivery_url(batch, name)) for name in names]

    return objects


rule send:
    input:
        *[sent_in(batch) for batch in RUN.batches if "send" in RUN.moves],
