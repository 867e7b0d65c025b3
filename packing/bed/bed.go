// Package bed holds the physics of beds of beads: how they settle, and how they
// answer to flow.
//
// [StokesVelocity] gives the velocity of one bead, a [Suspension] settles many
// of them with or without a flow from above, and [Stirring] tells how long a
// slurry stays as it was stirred. A [Curve] holds what was measured on a packed
// bed: velocity, compression factor and pressure, [Hardware] what to take off
// before. [Rigid] and [Compressible] predict it; [Consolidation] and [Rise] tell
// how fast a bed gives way and comes back.
//
// From a record to velocities: an [Experiment] finds what was steady, its Curve
// goes into an [Estimation], which finds the compressible bed behind it, and a
// [Window] tells how fast to pack and to operate. Another size is the matter of
// [Prediction], [ScaleUp] and [CriticalTests].
//
// The equations use φ, the volume fraction of beads. A slurry of concentration C
// made of a medium with the settled void ε0 has φ = C(1-ε0), a settled bed 1-ε0.
package bed
