"""What a manifest is made of: the resources of the IIIF Presentation API 3.0 that are used here.

Section numbers are those of https://iiif.io/api/presentation/3.0/. A key that is `UNSET` is left
out. Languages of a map are those of RFC 5646, `none` where a text has none (4.4.1).
"""

from __future__ import annotations

import msgspec
from msgspec import UNSET, UnsetType

LanguageMap = dict[str, list[str]]


class Resource(msgspec.Struct, frozen=True, kw_only=True):
    """A part of a manifest."""


class ImageService3(Resource, frozen=True, kw_only=True):
    """Tiles of the Image API 3.0."""

    id: str
    type: str = "ImageService3"
    profile: str = "level0"


class ImageService2(Resource, frozen=True, kw_only=True):
    """Tiles of the Image API 2.1, told with the keys that it has itself (3.2, `service`)."""

    id: str = msgspec.field(name="@id")
    type: str = msgspec.field(name="@type", default="ImageService2")
    profile: str = "http://iiif.io/api/image/2/level0.json"


class Image(Resource, frozen=True, kw_only=True):
    """A picture. width, height: px."""

    id: str
    type: str = "Image"
    format: str = "image/jpeg"
    width: int
    height: int
    service: list[ImageService3 | ImageService2] | UnsetType = UNSET
    label: LanguageMap | UnsetType = UNSET


class Annotation(Resource, frozen=True, kw_only=True):
    id: str
    type: str = "Annotation"
    motivation: str = "painting"
    target: str
    body: Image


class AnnotationPage(Resource, frozen=True, kw_only=True):
    id: str
    type: str = "AnnotationPage"
    items: list[Annotation]


class Canvas(Resource, frozen=True, kw_only=True):
    """A frame, in the size of its full picture in px (5.3)."""

    id: str
    type: str = "Canvas"
    label: LanguageMap
    width: int
    height: int
    items: list[AnnotationPage]
    thumbnail: list[Image] | UnsetType = UNSET
    rendering: list[Image] | UnsetType = UNSET


class CanvasReference(Resource, frozen=True, kw_only=True):
    id: str
    type: str = "Canvas"


class Range(Resource, frozen=True, kw_only=True):
    """A part of the item that has a name (5.4)."""

    id: str
    type: str = "Range"
    label: LanguageMap
    items: list[CanvasReference]


class Pair(Resource, frozen=True, kw_only=True):
    """What `metadata` and `requiredStatement` hold."""

    label: LanguageMap
    value: LanguageMap


class Page(Resource, frozen=True, kw_only=True):
    """A page elsewhere."""

    id: str
    type: str = "Text"
    format: str = "text/html"
    label: LanguageMap


class Agent(Resource, frozen=True, kw_only=True):
    id: str
    type: str = "Agent"
    label: LanguageMap
    homepage: list[Page] | UnsetType = UNSET


class Dataset(Resource, frozen=True, kw_only=True):
    """A record that a program can read."""

    id: str
    type: str = "Dataset"
    format: str
    profile: str
    label: LanguageMap


class Manifest(Resource, frozen=True, kw_only=True):
    """An item (5.2)."""

    context: str = msgspec.field(name="@context")
    id: str
    type: str = "Manifest"
    label: LanguageMap
    metadata: list[Pair]
    required_statement: Pair = msgspec.field(name="requiredStatement")
    provider: list[Agent]
    behavior: list[str]
    see_also: list[Dataset] = msgspec.field(name="seeAlso")
    items: list[Canvas]
    summary: LanguageMap | UnsetType = UNSET
    rights: str | UnsetType = UNSET
    nav_date: str | UnsetType = msgspec.field(name="navDate", default=UNSET)
    thumbnail: list[Image] | UnsetType = UNSET
    structures: list[Range] | UnsetType = UNSET


class Collection(Resource, frozen=True, kw_only=True):
    """A batch (5.1). items: manifests, with the keys by which a client lists them."""

    context: str = msgspec.field(name="@context")
    id: str
    type: str = "Collection"
    label: LanguageMap
    required_statement: Pair = msgspec.field(name="requiredStatement")
    provider: list[Agent]
    items: list[dict[str, object]]
