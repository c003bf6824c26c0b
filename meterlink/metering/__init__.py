"""The driver of a metering session: session, walk, sensor."""
