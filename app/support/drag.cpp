// SPDX-License-Identifier: MIT
#include "app/support/drag.h"

#include <QCoreApplication>
#include <QDataStream>
#include <QIODevice>

namespace espalier {

std::unique_ptr<QMimeData> encodeDrag(const DragSource& source)
{
    QByteArray bytes;
    QDataStream stream(&bytes, QIODevice::WriteOnly);
    stream << qint64(QCoreApplication::applicationPid()) << QByteArray::fromStdString(source.branch)
           << QByteArray::fromStdString(source.below.hex()) << QByteArray::fromStdString(source.tip.hex())
           << source.wholeBranch << source.label;
    auto data = std::make_unique<QMimeData>();
    data->setData(QLatin1String(dragMimeType), bytes);
    return data;
}

std::optional<DragSource> decodeDrag(const QMimeData* data)
{
    if (!data || !data->hasFormat(QLatin1String(dragMimeType)))
        return std::nullopt;
    const QByteArray bytes = data->data(QLatin1String(dragMimeType));
    QDataStream stream(bytes);
    qint64 process = 0;
    QByteArray branch, below, tip;
    DragSource source;
    stream >> process >> branch >> below >> tip >> source.wholeBranch >> source.label;
    const auto belowId = Oid::parse(below.toStdString());
    const auto tipId = Oid::parse(tip.toStdString());
    if (stream.status() != QDataStream::Ok || process != QCoreApplication::applicationPid() || !belowId || !tipId)
        return std::nullopt;
    source.branch = branch.toStdString();
    source.below = *belowId;
    source.tip = *tipId;
    return source;
}

} // namespace espalier
