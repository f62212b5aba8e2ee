"""Measures in words: their names, what one beyond its limit says, why one was not measured."""

from __future__ import annotations

# All by the measure's name in quality.json. Names that say more than their key does.
NAMES = {
    "banding_in_picture": "banding, by the picture",
    "base_density": "density of the film base",
    "bits_used": "bits used of each sample",
    "clipped_base": "film base cut off",
    "clipped_highlights": "light parts cut off",
    "clipped_shadows": "dark parts cut off",
    "dmin": "least density",
    "dmax": "greatest density",
    "dust": "specks of dust",
    "edge_blur": "blur of edges",
    "edge_points": "edges seen",
    "effective_ppi": "resolution",
    "fine_noise": "noise of the sensor",
    "grain_blur": "blur of grain",
    "light_falloff": "fall-off of light",
    "misregistration": "shift between colours",
    "motion_blur": "motion",
    "newton_rings": "Newton's rings",
    "rendered_highlights": "light parts lost in the picture",
    "rendered_shadows": "dark parts lost in the picture",
    "sampling_used": "sampling used",
    "skew_left": "lean that is left",
    "used_range": "range of codes used",
}
SENSE = {
    "clipped_highlights": "light parts are cut off; expose less and capture it again",
    "clipped_shadows": "dark parts are cut off; expose more and capture it again",
    "clipped_base": "the film base is cut off, so its density is not known; expose less",
    "used_range": "little of the range of codes is used; expose more",
    "bits_used": "fewer bits carry the picture than are stored; check the export",
    "effective_ppi": "less resolution than is wanted; move the camera closer, or change the lens",
    "edge_blur": "edges are soft and so is the grain; check the focus",
    "motion_blur": "fine detail is weaker along one direction; check for vibration",
    "sampling_used": "the picture seems enlarged; check the lens or the export",
    "compression_blocks": "blocks of lossy compression show; check the export",
    "fine_noise": "noise of the sensor stands out; expose more, or lower the sensitivity",
    "misregistration": "the colours do not lie on one another; check the lens and the rig",
    "light_falloff": "the light is uneven over the master; level the lamp, or use a flat field",
    "dust": "many specks stand out; clean the film and the glass",
    "scratches": "lines go over the picture and on beyond it; look at the film, and at the glass",
    "banding": "rows or columns differ in light; check the lamp's dimmer and the shutter time",
    "banding_in_picture": (
        "rows or columns differ in light, or the picture has such lines; look at it, and check the "
        "lamp's dimmer and the shutter time"
    ),
    "newton_rings": "rings of interference seem to lie over it; look where glass touches film",
    "skew_left": "the picture still leans; look at its outline",
    "rendered_highlights": "light parts are lost in the rendered picture; look at its tone",
    "rendered_shadows": "dark parts are lost in the rendered picture; look at its tone",
}

# Why a measure with a limit may have no value.
UNSEEN = {
    "clipped_base": "no film base is seen",
    "bits_used": "the frame is too small",
    "effective_ppi": "neither the size of the picture nor its resolution is known",
    "edge_blur": "too few edges stand above the grain, and the grain does not tell",
    "motion_blur": "neither detail nor grain stands above the noise, or the subject hides it",
    "sampling_used": "the frame is too small",
    "compression_blocks": "the frame is too small",
    "fine_noise": "the frame is too small",
    "misregistration": "the colours share too few edges, or do not agree on a shift",
    "light_falloff": "too little film base is seen",
    "scratches": "the picture's own texture would hide them",
    "banding": "the film base is too uneven, or too little of it is seen",
    "banding_in_picture": "the picture's own lines may hide it",
    "newton_rings": "the frame is too small",
}
