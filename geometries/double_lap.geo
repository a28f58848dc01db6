// Double-lap joint: cross-section for plane analysis, all lengths in mm.
//
//                          x = 0            x = L
//                            |  upper outer   |
//                            +----------------+-------------------+
//                            |                                    |  gripped end
//                            +----------------+-------------------+
//                            |::: adhesive :::|
//        +-------------------+----------------+
//        |                                    |                        y = 0
//        +-------------------+----------------+
//     loaded end   inner     |::: adhesive :::|
//                            +----------------+-------------------+
//                            |                                    |  gripped end
//                            +----------------+-------------------+
//                               lower outer
//
// half = 1 draws y >= 0 alone, for outers that are alike.
//
// Surfaces: "inner", "lower_outer" (not in a half), "upper_outer" (adherends),
//           "adhesive" (both layers, spew fillets included).
// Curves:   "loaded"                          end face of the inner
//           "gripped"                         end faces of the outers, together
//           "bondline 1 ..."                  the lower layer (not in a half)
//           "bondline 2 ..."                  the upper layer:
//           "... middle"                      its mid-line, 0 <= x <= L
//           "... lower", "... upper"          its two interfaces, 0 <= x <= L
//           "cut 1", "cut 2"  mesh lines through the adhesive of a layer alone
//                    that part the adherend below it from the one above, free
//                    surface to free surface, clear of the corners
//           "symmetry"                        y = 0 (in a half only)
//
// grid.geo says how the section is meshed. y = 0 is a mesh line; where outers are
// alike, the section's mesh is that of its half and the mirror image of it.

DefineConstant[
  overlap_length        = {25,  Name "Parameters/overlap_length"}
  bondline_thickness    = {0.2, Name "Parameters/bondline_thickness"}   // of each layer
  inner_thickness       = {3.2, Name "Parameters/inner_thickness"}
  inner_free_length     = {50,  Name "Parameters/inner_free_length"}
  lower_outer_thickness = {1.6, Name "Parameters/lower_outer_thickness"}
  upper_outer_thickness = {1.6, Name "Parameters/upper_outer_thickness"}
  outer_free_length     = {50,  Name "Parameters/outer_free_length"}    // of each outer
  spew_height           = {0,   Name "Parameters/spew_height"}   // climb up the adherends' end faces; 0: square end
  half                  = {0,   Name "Parameters/half"}          // 1: the upper half alone
  longest_bonded_cell   = {0,   Name "Parameters/longest_bonded_cell"}  // along the overlap, at density 1; 0: as grid.geo says
  mesh_density          = {1,   Name "Parameters/mesh_density"}
];

h = bondline_thickness / 2; f = spew_height; fillet = (f > 0);
Include "grid.geo";

// ---- grid lines along x, and the cells between them ----------------------
left_free_length = inner_free_length; left_thickness = inner_thickness;
right_free_length = outer_free_length;
right_thickness = half ? upper_outer_thickness : Min(lower_outer_thickness, upper_outer_thickness);
Call Along;

// ---- grid lines along y, and the cells between them ----------------------
// From y = 0, which is left out, outwards to the free surface of an outer of
// `thickness`: U, nu, ru.
Macro Outwards
  y = inner_thickness / 2;
  growth = growth_y; first = first_y; length = y - f;
  Call Graded;
  U() = {}; nu() = {n}; ru() = {1 / ratio};
  If (fillet)   // half fillets: even, then graded towards the corner
    U() += {y-f, y-f/2}; nu() += {fillet_cells, fillet_cells}; ru() += {1, 1/fillet_ratio};
  EndIf
  U() += {y, y+h, y+2*h}; nu() += {half_cells, half_cells}; ru() += {half_ratio, 1/half_ratio};
  y += 2*h;
  If (fillet)
    U() += {y+f/2, y+f}; nu() += {fillet_cells, fillet_cells}; ru() += {fillet_ratio, 1};
  EndIf
  length = thickness - f;
  Call Graded;
  U() += y + thickness; nu() += n; ru() += ratio;
Return

Y() = {}; ny() = {}; ry() = {};
If (!half)
  thickness = lower_outer_thickness;
  Call Outwards;
  For m In {#U()-1:0:-1}
    Y() += -U(m); ny() += nu(m); ry() += ru(m);
  EndFor
EndIf
jm = #Y();   // y = 0
thickness = upper_outer_thickness;
Call Outwards;
Y() += {0, U()}; ny() += nu(); ry() += ru();
NY = #Y();

// ---- which rectangles are filled: 1 inner, 2 adhesive, 3 and 4 outers -----
half_inner = fillet ? 3 : 1;   // grid intervals from y = 0 to an interface
For j In {0:NY-2}
  m = j < jm ? jm - 1 - j : j - jm;   // the interval's number, counted from y = 0
  For i In {0:NX-2}
    k = i + NX*j; R(k) = 0;
    If (m < half_inner && i < i1)
      R(k) = 1;
    ElseIf (m >= half_inner + 2 && i >= i0)
      R(k) = j < jm ? 3 : 4;
    ElseIf (m >= half_inner && m < half_inner + 2)
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
loaded() = ends();
Call Collect;
inner() = found();
region = 4; column = NX - 2; side = 1;
Call EndFace;
gripped() = ends();
Call Collect;
upper_outer() = found();
region = 2;
Call Collect;
adhesive() = found();
jl = jm + half_inner; jr = jl + 2;
Call Layer;
Physical Surface("inner") = inner();
Physical Surface("upper_outer") = upper_outer();
Physical Curve("loaded") = loaded();
Physical Curve("bondline 2 middle") = middle();
Physical Curve("bondline 2 lower") = interface_left();
Physical Curve("bondline 2 upper") = interface_right();
Physical Curve("cut 2") = cut();

If (half)
  symmetry() = {};
  For i In {0:i1-1}
    symmetry() += H(i + NX*jm);
  EndFor
  Physical Curve("symmetry") = symmetry();
Else
  region = 3; column = NX - 2; side = 1;
  Call EndFace;
  gripped() += ends();
  Call Collect;
  lower_outer() = found();
  jl = jm - half_inner; jr = jl - 2;
  Call Layer;
  Physical Surface("lower_outer") = lower_outer();
  Physical Curve("bondline 1 middle") = middle();
  Physical Curve("bondline 1 lower") = interface_right();
  Physical Curve("bondline 1 upper") = interface_left();
  Physical Curve("cut 1") = cut();
EndIf
Physical Surface("adhesive") = adhesive();
Physical Curve("gripped") = gripped();
