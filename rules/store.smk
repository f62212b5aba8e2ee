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

from glassine.base import files
from glassine import store
from glassine.base.errors import GlassineError
from glassine.store import deliveries
from glassine.store import masters

STORE = PLACE.config["store"]


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
    as the engine's own function does not work while the graph is made. Where the storage does not
    answer, or the bucket is missing, which the plugin would make, the run ends in plain words."""
    found = object_at(url).flags["storage_object"]
    try:
        if found.exists():
            return True
        if not found.bucket_exists():
            raise LookupError("there is no such bucket, or these keys may not see it")
    except Exception as problem:
        RUN.stop_without_store(url, problem)
    return False


def object_in(url):
    """Return the object as the input of a job, or nothing where there is none: the job tells."""
    return [object_at(url)] if stored(url) else []


def master_url(batch, name):
    return store.url(STORE["masters"], batch, name)


def delivery_url(batch, name):
    return store.url(STORE["deliveries"], batch, name)


def stated_url(batch, name):
    """Return the address of the digest beside an object of a delivery."""
    return delivery_url(batch, f"{name}{deliveries.DIGEST_SUFFIX}")


@functools.lru_cache(maxsize=64)
def read_record(path, mtime_ns):
    """Return fetch.json or send.json, which are asked for by every job; `mtime_ns` says which."""
    return files.read_json(path)


def record_at(path):
    return read_record(Path(path), Path(path).stat().st_mtime_ns)


def state_of(batch):
    return store.state_dir(Path("."), batch)


def lists_of(wildcards):
    names = [masters.LIST, *STORE["beside"]]
    return [copy for name in names for copy in object_in(master_url(wildcards.batch, name))]


def due_in(batch):
    """Return {path: what fetch.json says of it}."""
    record = checkpoints.fetch_list.get(batch=batch).output.due
    return {entry["path"]: entry for entry in record_at(record)["due"]}


def master_object(wildcards):
    if due_in(wildcards.batch)[wildcards.file]["differs"]:
        return []
    return object_in(master_url(wildcards.batch, wildcards.file))


def fetched_in(batch):
    def marks(_):
        state = state_of(batch)
        return [str(store.mark_of(state, "fetched", path)) for path in due_in(batch)]

    return marks


def delivered_in(batch):
    """Return the files of a batch's deliveries; what is wrong with receipts, the job tells."""
    try:
        return deliveries.delivered_files(Path("deliveries"), batch)
    except GlassineError:
        return []


def stated_of(wildcards):
    """Return the digests that lie beside the objects, as far as there are some."""
    names = [entry.name for entry in delivered_in(wildcards.batch)]
    urls = [stated_url(wildcards.batch, name) for name in names]
    return [copy for url in urls for copy in object_in(url)]


def compared_in(batch):
    """Return {name: what send.json says of it}, of the files that are not there yet."""
    record = checkpoints.send_list.get(batch=batch).output.due
    listed = record_at(record)["files"]
    return {entry["name"]: entry for entry in listed if entry["state"] != "there"}


def before_receipt(wildcards):
    """Return what must be in the storage before the file: for a receipt, all that it tells of."""
    due = compared_in(wildcards.batch)
    own = due[wildcards.name]
    if own["kind"] != "receipt":
        return []
    return [
        object_at(stated_url(wildcards.batch, name))
        for name, entry in due.items()
        if entry["delivery"] == own["delivery"] and name != wildcards.name
    ]


def sha256_of(wildcards):
    return compared_in(wildcards.batch)[wildcards.name]["sha256"]


def sent_object(wildcards):
    """Return the object as it is in the storage, once it was sent or where it was found there
    without a digest beside it; never as what send_file makes, which would send it anew."""
    if compared_in(wildcards.batch)[wildcards.name]["state"] == "absent":
        checkpoints.send_file.get(batch=wildcards.batch, name=wildcards.name)
    return storage.again(delivery_url(wildcards.batch, wildcards.name))


def sent_in(batch):
    def objects(_):
        due = compared_in(batch)
        absent = [name for name, entry in due.items() if entry["state"] == "absent"]
        urls = [delivery_url(batch, name) for name in absent]
        urls += [stated_url(batch, name) for name in due]
        return [object_at(url) for url in urls]

    return objects
