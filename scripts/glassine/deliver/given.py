"""What deliver is given of a batch."""

from __future__ import annotations

from typing import Literal

import msgspec

from glassine.base.errors import Finding
from glassine.base.model import BatchId, ItemId
from glassine.base.records import Given
from glassine.base.records.corrections import Withdrawal
from glassine.base.records.given import Institution
from glassine.base.records.receipt import Form


class UnfinishedItem(Given, frozen=True, kw_only=True):
    """An item of the batch that is not done. findings: what holds it, or keeps it waiting."""

    item: str
    state: str
    findings: tuple[Finding, ...] = ()


class DeliverySection(Given, frozen=True, kw_only=True):
    """max_bag_gb: in 10^9 bytes, 0 for one bag; a whole number stays one, as a digest is made of
    it. profile_identifier: URI of the BagIt profile, empty for the project's own. sign: path
    of the file with the private key that signs bags, empty where they are not signed.
    validator: whether a bag holds the program that checks it."""

    when: Literal["complete", "passed", "reviewed"] = "complete"
    quality_fail: Literal["review", "deliver"] = "review"
    later: Literal["whole", "changed"] = "whole"
    on_new_version: Literal["ask", "deliver", "keep"] = "ask"
    same_ids: Literal["held", "told"] = "held"
    form: Form = "folder"
    copy: Literal["copy", "reflink", "hardlink"] = "copy"
    read_back: Literal["disk", "memory"] = "disk"
    max_bag_gb: int | float = 0
    profile_identifier: str = ""
    sign: str = ""
    validator: bool = False


class Settings(Given, frozen=True, kw_only=True):
    delivery: DeliverySection


class DeliverGiven(Given, frozen=True, kw_only=True):
    """items: those that are done; lacking: the others. withdraw: as corrections.yaml has it.
    inputs: {item: digest over all that its steps were given but for the versions of the software},
    of items of which that is known."""

    batch: BatchId
    items: tuple[ItemId, ...]
    lacking: tuple[UnfinishedItem, ...]
    withdraw: tuple[Withdrawal, ...] = ()
    inputs: dict[str, str] = msgspec.field(default_factory=dict)
    settings: Settings
    institution: Institution = msgspec.field(default_factory=Institution)
