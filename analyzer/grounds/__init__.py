"""What every answer rests on: each input measured, bridged, told, assumed or contradicted."""
