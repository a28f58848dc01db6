// No joint by itself: where flaws of a bondline end. Included by the scripts beside this file.
//
// flaw_edge_1 < flaw_edge_2 < ... are places along x, inside the overlap, where
// mesh lines cross the layer. At an edge with flaw_tip_i = 1 the faces of a
// disbond meet: the cells there are even on both sides, and the layer's as fine
// in its middle as at its interfaces. Without edges meshes are as they are
// without this file, to the last bit.

DefineConstant[
  flaw_edges = {0, Name "Parameters/flaw_edges"}   // how many there are, 0 to 42
  flaw_tips  = {0, Name "Parameters/flaw_tips"}    // how many of them are tips of disbonds
];
For i In {1:42}
  DefineConstant[
    flaw_edge~{i} = {0, Name Sprintf("Parameters/flaw_edge_%g", i)}
    flaw_tip~{i}  = {0, Name Sprintf("Parameters/flaw_tip_%g", i)}
  ];
EndFor

tip_layer_cells = 8;    // with a tip: even cells from an interface to the mid-line, and as long at the tip
tip_even_cells = 4;     // even cells on each side of a tip

// Cells at edge `e`, between the edges or ends `before` and `after` it: edge_first
// is the first one's length, edge_even how far they are even.
Macro AtEdge
  room = Min(flaw_edge~{e} - before, after - flaw_edge~{e}) / (4 * tip_even_cells);
  edge_first = Min(flaw_tip~{e} ? h / tip_layer_cells : smallest, room);
  edge_even = flaw_tip~{e} ? tip_even_cells * edge_first : 0;
Return
