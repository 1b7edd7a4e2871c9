"""Rest curves of lithium cells: published half-cells, and what ageing does to them."""
