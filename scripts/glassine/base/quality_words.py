"""What a measure beyond its limit says, and what to check: for reports and reasons."""

from __future__ import annotations

# By the measure's name in quality.json.
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
