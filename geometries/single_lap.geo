// Single-lap joint: cross-section for plane analysis, all lengths in mm.
//
//                          x = 0            x = L
//                            |  upper         |            loaded end
//                            +----------------+-------------------+
//                            |                                    |
//                            +----------------+-------------------+
//                            |::: adhesive :::|
//        +-------------------+----------------+
//        |                                    |
//        +-------------------+----------------+
//      gripped end              lower
//
// Surfaces: "lower", "upper" (adherends), "adhesive" (spew fillets included).
// Curves:   "gripped", "loaded"               end faces
//           "bondline 1 middle"               mid-line of the layer, 0 <= x <= L
//           "bondline 1 lower", "... upper"   its two interfaces, 0 <= x <= L
//           "cut 1"  mesh lines through the adhesive alone that part the lower
//                    adherend from the upper, free surface to free surface,
//                    clear of the corners
//
// grid.geo says how the section is meshed.

DefineConstant[
  overlap_length     = {12.5, Name "Parameters/overlap_length"}
  bondline_thickness = {0.2,  Name "Parameters/bondline_thickness"}
  lower_thickness    = {1.6,  Name "Parameters/lower_thickness"}
  lower_free_length  = {50,   Name "Parameters/lower_free_length"}
  upper_thickness    = {1.6,  Name "Parameters/upper_thickness"}
  upper_free_length  = {50,   Name "Parameters/upper_free_length"}
  spew_height        = {0,    Name "Parameters/spew_height"}  // climb up the adherend's end face; 0: square end
  longest_bonded_cell = {0,   Name "Parameters/longest_bonded_cell"}  // along the overlap, at density 1; 0: as grid.geo says
  mesh_density       = {1,    Name "Parameters/mesh_density"}
];

h = bondline_thickness / 2; f = spew_height; fillet = (f > 0);
Include "grid.geo";

// ---- grid lines along x and y, and the cells between them ----------------
left_free_length = lower_free_length; left_thickness = lower_thickness;
right_free_length = upper_free_length; right_thickness = upper_thickness;
Call Along;
growth = growth_y; first = first_y; length = lower_thickness - f;
Call Graded;
Y() = {-h - lower_thickness}; ny() = {n}; ry() = {1 / ratio};
If (fillet)   // half fillets: even, then graded towards the corner
  Y() += {-h-f, -h-f/2}; ny() += {fillet_cells, fillet_cells}; ry() += {1, 1/fillet_ratio};
EndIf
j0 = #Y(); j1 = j0 + 2;   // j0, j1: interfaces; j0 + 1: mid-line
Y() += {-h, 0, h}; ny() += {half_cells, half_cells}; ry() += {half_ratio, 1/half_ratio};
If (fillet)
  Y() += {h+f/2, h+f}; ny() += {fillet_cells, fillet_cells}; ry() += {fillet_ratio, 1};
EndIf
length = upper_thickness - f;
Call Graded;
Y() += {h + upper_thickness}; ny() += {n}; ry() += {ratio};
NY = #Y(); jm = 0;

// ---- which rectangles are filled: 1 lower, 2 adhesive, 3 upper ----------
For j In {0:NY-2}
  For i In {0:NX-2}
    k = i + NX*j; R(k) = 0;
    If (j < j0 && i < i1)
      R(k) = 1;
    ElseIf (j >= j1 && i >= i0)
      R(k) = 3;
    ElseIf (j >= j0 && j < j1)
      If (i >= i0 && i < i1)
        R(k) = 2;
      EndIf
      If (fillet && ((i >= i0-2 && i < i0) || (i >= i1 && i < i1+2)))
        R(k) = 2;
      EndIf
    EndIf
  EndFor
EndFor

Call Fill;

// ---- names -----------------------------------------------------------------
region = 1; column = 0; side = 0;
Call EndFace;
gripped() = ends();
Call Collect;
lower() = found();
region = 3; column = NX - 2; side = 1;
Call EndFace;
loaded() = ends();
Call Collect;
upper() = found();
region = 2;
Call Collect;
adhesive() = found();
jl = j0; jr = j1;
Call Layer;

Physical Surface("lower") = lower();
Physical Surface("adhesive") = adhesive();
Physical Surface("upper") = upper();
Physical Curve("gripped") = gripped();
Physical Curve("loaded") = loaded();
Physical Curve("bondline 1 middle") = middle();
Physical Curve("bondline 1 lower") = interface_left();
Physical Curve("bondline 1 upper") = interface_right();
Physical Curve("cut 1") = cut();
