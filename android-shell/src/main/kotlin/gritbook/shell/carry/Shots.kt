package gritbook.shell.carry

import android.content.ClipData
import android.content.Context
import android.content.Intent
import android.net.Uri
import android.provider.MediaStore
import java.io.File
import java.util.UUID

/** Pictures on their way from the camera or the storage into the book: files of our own, named at random. */
object Shots {
    private const val AUTHORITY = "gritbook.shell.photos"

    fun folder(context: Context) = File(context.filesDir, "shots")

    fun newName() = "${UUID.randomUUID()}.jpg"

    fun file(context: Context, name: String) = File(folder(context), name)

    fun uri(name: String): Uri = Uri.Builder().scheme("content").authority(AUTHORITY).appendPath(name).build()

    /** Asks a camera to write its picture into [name]. */
    fun camera(context: Context, name: String): Intent = Intent(MediaStore.ACTION_IMAGE_CAPTURE).apply {
        putExtra(MediaStore.EXTRA_OUTPUT, uri(name))
        clipData = ClipData.newUri(context.contentResolver, "photo", uri(name))
        addFlags(Intent.FLAG_GRANT_WRITE_URI_PERMISSION or Intent.FLAG_GRANT_READ_URI_PERMISSION)
    }

    /** Asks the storage for a picture. */
    fun pick(): Intent = Intent(Intent.ACTION_OPEN_DOCUMENT).addCategory(Intent.CATEGORY_OPENABLE).setType("image/*")

    /** Copies a picked picture to [name]; away from the main thread. */
    fun copy(context: Context, from: Uri, name: String): File {
        folder(context).mkdirs()
        val file = file(context, name)
        val part = File(folder(context), "$name.part")
        val stream = context.contentResolver.openInputStream(from) ?: throw java.io.FileNotFoundException("$from")
        stream.use { input -> part.outputStream().use { output -> input.copyTo(output); output.fd.sync() } }
        if (!part.renameTo(file)) throw java.io.IOException("$part")
        return file
    }
}
