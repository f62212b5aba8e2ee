"""Raw captures: from the sensor's samples to the picture that the steps after work on."""
