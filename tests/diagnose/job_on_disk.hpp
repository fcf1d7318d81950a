#pragma once
#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

#include "hushtrace/job/job_folder.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "temporary_folder.hpp"

/// A job whose takes lie on the disk, for what reads their files.
struct JobOnDisk {
    hushtrace::TemporaryFolder folder;
    hushtrace::OpenedJob opened;

    JobOnDisk() {
        opened.folder = folder.path();
        std::filesystem::create_directories(folder.path() / "takes");
    }
    hushtrace::Take& add(const std::string& file, double rate, const std::vector<hushtrace::Channel>& channels,
                         const std::vector<std::vector<double>>& sound) {
        hushtrace::Block block(sound.size(), sound.front().size());
        for (std::size_t c = 0; c < sound.size(); ++c) std::copy(sound[c].begin(), sound[c].end(), block.channel(c).begin());
        std::filesystem::create_directories((folder.path() / file).parent_path());
        hushtrace::TakeWriter writer(folder.path() / file, rate, sound.size());
        writer.write(block);
        writer.close();
        hushtrace::Take take;
        take.file = file;
        take.channels = channels;
        opened.job.takes.push_back(take);
        return opened.job.takes.back();
    }
};
