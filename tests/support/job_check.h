// SPDX-License-Identifier: MIT
//
// Runs the whole job and asks at every step what the acceptance of the main job asks, for either hand.
//
//     MouseJob job(window, clonePath);
//     checkJob(job, window, sample);
#pragma once

#include "core/samples/samples.h"
#include "tests/support/whole_job.h"

namespace espalier::test {

// Fails the running test at the first step that is not as it should be. `also` is called at every step.
void checkJob(WholeJob& job, MainWindow& window, const Sample& sample, const WholeJob::Look& also = {});

} // namespace espalier::test
