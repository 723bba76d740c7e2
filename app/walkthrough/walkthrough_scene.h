// SPDX-License-Identifier: MIT
//
// What one step of the walkthrough shows: a few commits in three places, and the words below them. Private to
// app/walkthrough.
#pragma once

#include "core/history/places.h"
#include "core/replay/dry_run.h"

#include <QString>

#include <vector>

namespace espalier {

struct SceneCommit {
    QString id;    // seven digits, or a letter in the example
    QString label; // branch names at it, may be empty
    Place place = Place::Clone;
    int column = 0;      // position along the time axis, 0 oldest
    int parent = -1;     // index of the commit below; -1: the picture begins here
    bool faded = false;  // kept, but no branch reaches it any more
    bool fresh = false;  // made in this step
    bool wanted = false; // where the topic is to stand
};

struct Scene {
    QString title;
    QString text;
    std::vector<SceneCommit> commits;
};

// The steps for a topic of these commits (ids old and new, oldest first) whose new base is `onto`. `newIds` may be shorter:
// a landed or empty commit has no new version.
struct SceneStory {
    QString topic, base, onto;
    std::vector<QString> oldIds, newIds;
    int upstreamCommits = 2; // between base and new base
};
SceneStory exampleStory();
SceneStory storyOf(const DryRun& run);
std::vector<Scene> scenesOf(const SceneStory& story);

} // namespace espalier
