"""Receipt of a delivery: what was delivered, in which bags, and that they were read again."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base.records import Record
from glassine.base.records.parts import Count, Positive, Sha256, Text

Form = Literal["folder", "tar", "zip"]


class ReceiptBag(Record, frozen=True, kw_only=True):
    """A bag of the delivery.

    files: 0 where an earlier version did not say. archive_bytes: size of the tar or zip file.
    signed_by: fingerprint of the key that signed it, absent where it is not signed.
    validated: when the finished bag had been read again and found valid (ISO 8601, UTC).
    """

    name: Text
    files: Count = 0
    bytes: Count
    archive_bytes: Count | UnsetType = UNSET
    manifest_sha256: Sha256
    tagmanifest_sha256: Sha256
    signed_by: Sha256 | UnsetType = UNSET
    validated: str


class DeliveredMaster(Record, frozen=True, kw_only=True):
    """A master as delivered: the frames delivered of it, and those that a person left out."""

    path: Text
    sha256: Sha256
    frames: Count
    left_out: Count = 0


class ReceiptItem(Record, frozen=True, kw_only=True):
    """An item of the delivery.

    bytes: 0 where an earlier version did not say. digest: over the paths and digests of its files
    in the bag; packed: the same of its package as the results have it, absent where that is the
    same. inputs: digest over all that its steps were given but for the versions of the software;
    absent where that is not known. replaces: the delivery that has the item in an earlier state;
    replaces_digest: `digest` of it there. masters: absent in receipts of earlier versions.
    captured: over the files that were captured. inventory: of an OCFL object, of its
    inventory.json; refers: of a later version of one, the deliveries that have its other files, the
    last one first.
    """

    item: Text
    bag: Text
    files: Positive
    bytes: Count = 0
    digest: Sha256
    replaces: str | None = None
    masters: list[DeliveredMaster] | UnsetType = UNSET
    packed: Sha256 | UnsetType = UNSET
    inputs: Sha256 | UnsetType = UNSET
    replaces_digest: Sha256 | UnsetType = UNSET
    captured: Sha256 | UnsetType = UNSET
    inventory: Sha256 | UnsetType = UNSET
    refers: list[str] | UnsetType = UNSET

    @property
    def package_digest(self) -> str:
        """Return the digest of its package as the results had it when it was delivered."""
        return self.digest if self.packed is UNSET else self.packed


class LackingItem(Record, frozen=True, kw_only=True):
    """An item of the batch that the delivery does not have. reason: in a sentence."""

    item: str
    state: str
    reason: str


class WithdrawnPart(Record, frozen=True, kw_only=True):
    """What is no longer delivered by a person's word: an item, one master of it, or frames.

    frames: the number that is left of a master. by: role id of who decided. delivery: the last one
    that has it.
    """

    item: Text
    master: str | None
    frames: int | None
    reason: Text
    by: Text
    when: Text
    delivery: str | None

    @property
    def key(self) -> tuple[str, str | None, int | None]:
        """Return what is withdrawn, whoever said so."""
        return (self.item, self.master, self.frames)

    @property
    def whole(self) -> bool:
        """Return whether the item is withdrawn as a whole."""
        return self.master is None and self.frames is None


class Receipt(Record, frozen=True, kw_only=True):
    """Receipt of a delivery.

    delivery: its name, the batch's, with .r2, .r3 ... for later ones. replaces: the delivery that
    this one takes the place of; also_replaces: those that `replaces` had been added to, which it
    takes the place of as well; continues: the one that it adds changed items to. content: digest
    over what was delivered; the same is not delivered twice.
    """

    delivery: Text
    batch: Text
    revision: Positive
    replaces: str | None
    continues: str | None
    time: Annotated[str, Meta(pattern="^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:]{8}Z$")]
    form: Form
    profile: str
    content: Sha256
    bags: Annotated[list[ReceiptBag], Meta(min_length=1)]
    items: Annotated[list[ReceiptItem], Meta(min_length=1)]
    lacking: list[LackingItem]
    withdrawn: list[WithdrawnPart] = msgspec.field(default_factory=list)
    handover: list[str] = msgspec.field(default_factory=list)
    software: str = ""
    also_replaces: list[str] | UnsetType = UNSET

    @property
    def all_replaced(self) -> tuple[str, ...]:
        """Return every delivery that this one takes the place of, the last one first."""
        others = [] if self.also_replaces is UNSET else self.also_replaces
        return (self.replaces, *others) if self.replaces else ()
